"""A gauge: asked for and built."""

from jiggen.desk.making import Product
from jiggen.desk.site import Place
from jiggen.request.products import GAUGE

NAV = Place("/gauge", "A gauge", "A frame to print and measure, so that jigs come out true.")
ROUTES = Product("/gauge", "Gauge", GAUGE, lambda _: None).routes()
