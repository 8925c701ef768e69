"""A trial plate: asked for, seen as it is typed, built."""

from jiggen.desk.making import Product
from jiggen.desk.site import Place
from jiggen.layout import Layout
from jiggen.request.products import TRIAL, TrialRequest

NAV = Place(
    "/trial",
    "Trial plate",
    "A thin print with every hole, to check against the real plate first.",
)


def lay_out(asked: TrialRequest) -> tuple[Layout, None]:
    """Its holes."""
    return asked.mount.lay_out(), None


ROUTES = Product("/trial", "Trial plate", TRIAL, lay_out).routes()
