"""Who may speak to the desk: this computer's browser, from the desk's own pages; no one else."""

from dataclasses import replace

import pytest
from desks import Knock, chunked, desk_here

from jiggen.desk.guard import LARGEST_BODY
from jiggen.desk.site import _modules

SECRET = b"[secret]\nthis is outside of the workshop\n"
MEGABYTE = bytes(2**20)


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    place = tmp_path_factory.mktemp("guard")
    (place / "secret.toml").write_bytes(SECRET)
    workshop = place / "workshop"
    workshop.mkdir()
    (workshop / "own.toml").write_text("format = 1\n", encoding="utf-8")
    with desk_here(workshop) as opened:
        for path in GETS:  # looking makes an empty shelf
            Knock.at(opened, path=path).send()
        yield opened


@pytest.fixture
def unchanged(desk):
    """What is refused changes nothing in the workshop's folder."""
    before = desk.state()
    yield
    assert desk.state() == before


def routes(method: str) -> list[str]:
    """The paths of every page that takes a method, with a word where it has a parameter."""
    return [
        route.path.replace("{", "").replace("}", "").split(":")[0]
        for module in _modules()
        for route in module.ROUTES
        if method in route.methods
    ]


GETS = routes("GET")
POSTS = routes("POST")


@pytest.mark.parametrize("path", GETS)
def test_its_own_browser_is_let_in_and_looking_changes_nothing(desk, unchanged, path):
    assert Knock.at(desk, path=path).send().code in (200, 303, 404, 422)
    assert Knock.at(desk, path=path).with_header("Host", f"localhost:{desk.port}").send().code < 500


HOSTS = {
    "another name": ["mill.example:{port}"],
    "a name that begins so": ["127.0.0.1.mill.example:{port}"],
    "localhost with a dot": ["localhost.:{port}"],
    "a name under localhost": ["desk.localhost:{port}"],
    "another port": ["127.0.0.1:1"],
    "no port": ["127.0.0.1"],
    "an empty port": ["127.0.0.1:"],
    "the port twice": ["127.0.0.1:{port}:{port}"],
    "IPv6": ["[::1]:{port}"],
    "IPv4 in IPv6": ["[::ffff:127.0.0.1]:{port}"],
    "another loopback": ["127.0.0.2:{port}"],
    "a short form": ["127.1:{port}"],
    "a number": ["2130706433:{port}"],
    "a user before": ["127.0.0.1:{port}@mill.example"],
    "two names in one": ["127.0.0.1:{port}, mill.example"],
    "empty": [""],
}


@pytest.mark.parametrize("hosts", HOSTS.values(), ids=HOSTS)
def test_forged_hosts_are_refused(desk, unchanged, hosts):
    hosts = [host.format(port=desk.port) for host in hosts]
    for knock in (Knock.at(desk), Knock.at(desk, "POST", POSTS[0])):
        answer = knock.with_header("Host", *hosts).send()
        assert answer.code in (400, 403)
        assert b"<form" not in answer.body


def test_no_host_two_hosts_and_another_in_the_first_line_are_refused(desk, unchanged):
    own = f"127.0.0.1:{desk.port}"
    assert Knock.at(desk).with_header("Host").send().code == 400
    assert Knock.at(desk).with_header("Host", own, "mill.example").send().code in (400, 403)
    # RFC 9112, 3.2.2: the address in the first line counts more than the header.
    absolute = Knock.at(desk, path="http://mill.example/").send()
    assert absolute.code >= 400


FORGED = {
    "another site": ("Sec-Fetch-Site", ["cross-site"]),
    "another port": ("Sec-Fetch-Site", ["same-site"]),
    "two at once": ("Sec-Fetch-Site", ["same-origin", "cross-site"]),
    "a word of one's own": ("Sec-Fetch-Site", ["Same-Origin, none"]),
}
ORIGINS = {
    "another name": ["http://mill.example"],
    "its name with our port": ["http://mill.example:{port}"],
    "another port": ["http://127.0.0.1:1"],
    "no port": ["http://127.0.0.1"],
    "a name that begins so": ["http://127.0.0.1:{port}.mill.example"],
    "by TLS": ["https://127.0.0.1:{port}"],
    "a file": ["null"],
    "none": [],
    "two": ["http://127.0.0.1:{port}", "http://mill.example"],
    "empty": [""],
}


@pytest.mark.parametrize(("name", "values"), FORGED.values(), ids=FORGED)
@pytest.mark.parametrize("path", POSTS)
def test_other_sites_change_nothing(desk, unchanged, path, name, values):
    assert Knock.at(desk, "POST", path).with_header(name, *values).send().code == 403


@pytest.mark.parametrize("origins", ORIGINS.values(), ids=ORIGINS)
def test_without_that_header_the_origin_decides(desk, unchanged, origins):
    origins = [origin.format(port=desk.port) for origin in origins]
    older = Knock.at(desk, "POST", POSTS[0]).with_header("Sec-Fetch-Site")
    assert older.with_header("Origin", *origins).send().code == 403
    nowhere = Knock.at(desk, "POST", "/nothing/here").with_header("Sec-Fetch-Site")
    assert nowhere.send().code in (404, 405)  # its own origin passes


def test_every_change_has_one_of_the_two(desk):
    """The rows above fail for what they say alone: with nothing forged the guard lets it pass."""
    assert Knock.at(desk, "POST", "/nothing/here").send().code in (404, 405)


TOKENS = {
    "none": [],
    "empty": ["jiggen-{port}="],
    "wrong": ["jiggen-{port}=" + "x" * 43],
    "a part": ["jiggen-{port}={part}"],
    "of another port": ["jiggen-1={token}"],
    "by another name": ["token={token}"],
    "no letters": ["jiggen-{port}=\xff\xfe"],
    "a broken cookie": ["=;;=\x01"],
}


@pytest.mark.parametrize("cookies", TOKENS.values(), ids=TOKENS)
def test_without_the_token_of_the_run_nothing_is_shown_or_changed(desk, unchanged, cookies):
    token = desk.token
    cookies = [cookie.format(port=desk.port, token=token, part=token[:-1]) for cookie in cookies]
    for knock in (
        *(Knock.at(desk, path=path) for path in GETS),
        *(Knock.at(desk, "POST", path) for path in POSTS),
        Knock.at(desk, path="/static/desk.css"),
    ):
        answer = knock.with_header("Cookie", *cookies).send()
        assert answer.code in (400, 403), knock.path
        assert token.encode() not in answer.body
        assert "set-cookie" not in answer.headers


def test_the_token_leaves_the_address_for_a_cookie_that_no_script_reads(desk, unchanged):
    first = Knock.at(desk, path=f"/?a=1&token={desk.token}&b=%3Cx").with_header("Cookie")
    answer = first.send()
    assert answer.code == 200
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert desk.token.encode() not in answer.body
    assert b"/?a=1&amp;b=%3Cx" in answer.body
    wrong = Knock.at(desk, path=f"/?token={desk.token[:-1]}").send()
    assert wrong.code == 403
    assert "set-cookie" not in wrong.headers
    # An address does not become that of another site by what its path begins with.
    for path in ("//mill.example/", "/\\mill.example/", "/%2F%2Fmill.example/"):
        moved = Knock.at(desk, path=f"{path}?token={desk.token}").with_header("Cookie").send()
        assert b'"//' not in moved.body
        assert b"url=//" not in moved.body
        assert b"/\\" not in moved.body


OUTSIDE = (
    "../secret.toml",
    "../../secret.toml",
    "%2e%2e/secret.toml",
    "%2e%2e%2fsecret.toml",
    "..%2fsecret.toml",
    "..%5csecret.toml",
    "..\\secret.toml",
    "%252e%252e%252fsecret.toml",
    "....//secret.toml",
    "./../secret.toml",
    "own.toml/../../secret.toml",
    "{place}/secret.toml",
    "%2f{place}/secret.toml",
    "file:{place}/secret.toml",
    "own.toml%00.svg",
    "..%c0%afsecret.toml",
)


@pytest.mark.parametrize("path", OUTSIDE)
def test_no_path_leads_out_of_what_is_offered(desk, unchanged, path):
    path = path.format(place=desk.folder.parent)
    rooms = {"/", "/static/", *(route[: route.rfind("/") + 1] for route in GETS)}
    for room in sorted(rooms):
        for asked in (f"{room}{path}", f"{room}1/{path}"):
            answer = Knock.at(desk, path=asked).send()
            assert SECRET not in answer.body, asked
            assert answer.code >= 300, asked


def test_a_body_above_the_limit_is_refused_announced_or_not(desk, unchanged):
    for path in (*POSTS, "/nothing/here"):
        announced = Knock.at(desk, "POST", path)
        answer = announced.with_header("Content-Length", str(LARGEST_BODY + 1)).send()
        assert answer.code == 413, path
        for length in ("-1", "1e3", "0x10", "1, 2"):
            assert announced.with_header("Content-Length", length).send().code in (400, 413)


@pytest.mark.parametrize("kind", ["application/x-www-form-urlencoded", "multipart/form-data"])
def test_a_body_without_end_is_refused(desk, unchanged, kind):
    start = (
        b"a="
        if "url" in kind
        else (b'--x\r\nContent-Disposition: form-data; name="file"; filename="a.csv"\r\n\r\n')
    )
    pieces = chunked([start, *[MEGABYTE] * (LARGEST_BODY // len(MEGABYTE) + 1)])
    knock = Knock.at(desk, "POST", POSTS[0]).with_header("Content-Length")
    knock = knock.with_header("Transfer-Encoding", "chunked")
    knock = knock.with_header("Content-Type", f"{kind}; boundary=x")
    answer = replace(knock, body=pieces).send()
    # A field that is no file may not be nearly as long (Starlette's limit of 1 MB).
    assert answer.code == (400 if "url" in kind else 413)
    assert Knock.at(desk).send().code == 200  # and it still serves


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECT", "FOO"])
def test_other_methods_do_nothing(desk, unchanged, method):
    for path in {*GETS, *POSTS}:
        assert Knock.at(desk, method, path).send().code in (400, 404, 405)


def test_pages_that_change_something_answer_to_post_alone(desk, unchanged):
    for path in set(POSTS) - set(GETS):
        assert Knock.at(desk, path=path).send().code in (404, 405)


def test_every_answer_is_closed_to_other_sites(desk, unchanged):
    own = Knock.at(desk)
    knocks = [Knock.at(desk, path=path) for path in GETS]
    knocks += [Knock.at(desk, "POST", path).with_header("Origin") for path in POSTS]
    knocks += [own.with_header("Host", "mill.example"), own.with_header("Cookie")]
    knocks += [Knock.at(desk, path="/nothing"), Knock.at(desk, path="/static/desk.js")]
    knocks += [Knock.at(desk, path="/static/nothing"), Knock.at(desk, "PUT")]
    knocks += [Knock.at(desk, "HEAD"), Knock.at(desk, path=f"/?token={desk.token}")]
    knocks += [Knock.at(desk, "POST").with_header("Content-Length", str(LARGEST_BODY + 1))]
    for knock in knocks:
        headers = knock.send().headers
        policy = headers["content-security-policy"]
        assert "default-src 'self'" in policy, knock
        assert "frame-ancestors 'none'" in policy
        assert "unsafe" not in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert not any(name.startswith("access-control") for name in headers)
        assert "server" not in headers
