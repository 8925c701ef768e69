"""Who works at the desk."""

from starlette.requests import Request

from jiggen.request.shelf import login_name

BY = "by"  # the cookie that remembers it


def who(request: Request) -> str:
    """Who works here, as the browser was told last; else who started the desk."""
    return request.cookies.get(BY) or login_name()
