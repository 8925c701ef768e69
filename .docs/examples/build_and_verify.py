"""Build a jig for a large printer and verify it from its files."""

import jiggen
from jiggen.design import Bed, Settings, SkiRange

settings = Settings(SkiRange(84, 112), bed=Bed(400, 400, 400), material="ASA")
result = jiggen.build("hut-plate", boot=305, ski=(84, 112), out="large", settings=settings)
for warning in result.warnings:
    print("warning:", warning)
for hole in result.record.holes:
    print(f"{hole.id:<12}{hole.x:9.2f}{hole.y:9.2f}")
print("usable" if jiggen.verify(result.folder).passed else "do not print")
