"""A table of hole positions along the ski for some boots: no CAD kernel is loaded."""

import jiggen

pattern = jiggen.read_pattern("club-piste")
first = jiggen.lay_out(pattern, boot=290)
print("boot  " + "".join(f"{hole:>9}" for hole in first.ids))
for boot in range(290, 321, 10):
    layout = jiggen.lay_out(pattern, boot=boot)
    print(f"{boot:4}  " + "".join(f"{x:9.2f}" for x in layout.positions[:, 0]))
