"""Whether each part's file can be printed as it lies, without supports, on the bed it is for.

Looks at the files as the printer gets them.  Every check is kept with its numbers and with the
places that fail or come closest, in the file's frame and in the ski's, so that they can be drawn.
"""

from jiggen.verify.printing.judge import judge_printing
from jiggen.verify.printing.model import Check, PartPrinting, Place, as_dict

__all__ = ["Check", "PartPrinting", "Place", "as_dict", "judge_printing"]
