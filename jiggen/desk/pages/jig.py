"""A jig: asked for, seen as it is typed, built."""

from jiggen.desk.making import Product
from jiggen.desk.site import Place
from jiggen.layout import Layout
from jiggen.request.products import JIG, JigRequest

NAV = Place("/jig", "A jig", "Choose a pattern, type boot and ski, build, print.")


def lay_out(asked: JigRequest) -> tuple[Layout, tuple[float, float]]:
    """Its holes for the shortest boot, and the skis."""
    job = asked.job()
    return job.lay_out(), job.skis


ROUTES = Product("/jig", "Jig", JIG, lay_out).routes()
