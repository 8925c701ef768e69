"""A gauge: asked for and built."""

from jiggen.desk.making import Product
from jiggen.desk.site import Place
from jiggen.request.products import GAUGE

NAV = Place(
    "/gauge", "Gauge", "A frame to print and measure: it shows what your printer does to a part."
)
ROUTES = Product("/gauge", "Gauge", GAUGE, lambda _: None).routes()
