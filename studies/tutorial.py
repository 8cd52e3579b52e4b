# %% [markdown]
# # A first machine, cell by cell
#
# A lathe for turning wooden bowls needs a motor that starts under load and runs quietly at 600 revolutions a minute.
# This page describes one, looks at its field, makes its flux map, drives it from a bridge, and asks whether a wider
# rotor pole would run smoother. It is a Python file whose cells begin with `# %%`: editors that know such cells run
# them one by one, notebooks open it (with `jupytext`), and Python runs it as it is.
#
# The mesh is the coarse one throughout, so that every cell takes seconds. Coarse figures tell shapes apart; final ones
# want the normal mesh.

# %%
from tempfile import TemporaryDirectory

import numpy as np

from polefem import (
    Bridge,
    Chopping,
    DriveSpec,
    EqualCopperLoss,
    MeshSpec,
    Plan,
    Pole,
    RadialMachine,
    RectangularCurrent,
    Steel,
    Study,
    Variant,
    Winding,
    coupled_map,
    flux_map,
    outline_of,
    run,
    solve_state,
    with_fields,
)
from polefem.copper import Copper, wound_phase
from polefem.drive import rectangular_torque, steady_state
from polefem.errors import GeometryRefused
from polefem.units import A, V, W, deg, mm, rpm

# %% [markdown]
# In a notebook, `%load_ext polefem.report.notebook` makes values show themselves as drawings and tables, as they do on
# this page.
#
# ## The machine
#
# Lengths are in metres and angles in radians; the factors `mm` and `deg` say it the way a drawing does.

# %%
lathe = RadialMachine(
    stator_poles=6,
    rotor_poles=4,
    stator_outer_radius=70 * mm,
    rotor_outer_radius=36 * mm,
    air_gap=0.4 * mm,
    stator_yoke_thickness=12 * mm,
    rotor_yoke_radius=23 * mm,
    shaft_radius=10 * mm,
    stack_length=60 * mm,
    stator_pole=Pole(arc=30 * deg),
    rotor_pole=Pole(arc=32 * deg),
    winding=Winding(
        turns_per_pole=90,
        coil_width=9 * mm,
        face_inset=3 * mm,
        yoke_clearance=4 * mm,
    ),
    steel=Steel.named("M330-50A"),
)
lathe

# %% [markdown]
# A machine that cannot be built is refused before anything is meshed, in one sentence that says what would be allowed.

# %%
try:
    outline_of(with_fields(lathe, {"stator_pole.arc": 61 * deg}))
except GeometryRefused as refused:
    print(refused)

# %% [markdown]
# The steel is its magnetisation curve. Past the knee a little more flux costs several times the field strength; the
# dashed end is extrapolated.

# %%
lathe.steel

# %% [markdown]
# ## One field
#
# All three phases carry a current of their own; here only the first does, 15 degrees before its poles are aligned.

# %%
state = solve_state(lathe, -15 * deg, [10.0, 0.0, 0.0], "coarse")
print(f"{state.torque:.2f} N m; flux linkages {np.round(state.flux_linkages * 1e3, 1)} mWb")

# %% [markdown]
# ## The flux map
#
# One phase over angle and current. Half a rotor pitch is enough for symmetric poles: the other half is its mirror
# image.

# %%
lathe_map = flux_map(lathe, np.linspace(0, 45, 16) * deg, [2.5, 5.0, 10.0, 15.0], "coarse")
lathe_map

# %% [markdown]
# Inductance is flux linkage over current: largest aligned, smallest unaligned. Their ratio, and how early it falls with
# current, decide what torque a phase can give.

# %%
for current, inductance in zip(lathe_map.currents, lathe_map.inductance * 1e3, strict=True):
    aligned, unaligned = inductance[0], inductance[-1]
    print(f"{current:5.1f} A   {aligned:6.2f} mH aligned   {unaligned:5.2f} mH unaligned")

# %% [markdown]
# ## Torque of all phases
#
# The ideal rectangular current: each phase carries 10 A from 36 degrees before aligned to 1 degree before it. Phases
# that conduct at once share the yoke: the coupled map has all of them in one field. It would choose by itself at which
# currents and angles they meet, closely where torque is in doubt; three levels and steps of 2.5 degrees take a quarter
# of the time. With less than two strokes of dwell no three conduct at once.

# %%
together = coupled_map(
    lathe,
    lathe_map.angles,
    lathe_map.currents,
    mesh="coarse",
    joint_currents=[5.0, 10.0, 15.0],
    joint_nodes=36,
    at_once=2,
)
rectangular_torque(together, RectangularCurrent(-36 * deg, -1 * deg), 10 * A)

# %% [markdown]
# ## A bridge
#
# A real current takes time to rise and to fall. The phase is switched on at 42 degrees before aligned, held near 10 A
# by chopping, and switched off at 14 degrees before aligned, early enough to be gone when its poles are. The resistance
# is that of the coils at 100 degrees Celsius, filled to 45 %.

# %%
bridge = Bridge(48 * V, switch_drop=0.1 * V, diode_drop=0.8 * V)
copper = Copper(fill_factor=0.45, temperature=100.0)
resistance = wound_phase(lathe, copper).resistance
chopping = Chopping(level=10 * A, band=1 * A)
drive = DriveSpec(bridge, resistance, -42 * deg, -14 * deg, chopping)
steady_state(together, drive, 600 * rpm)

# %% [markdown]
# The dip lies where the phase that was switched off in time has gone and the next one has not come. `best_setting`
# looks for the angles and the level that make the least of it.
#
# ## Which shape?
#
# Three rotor poles at the same copper loss, ranked by torque ripple under the ideal rectangular current. `run` keeps
# what it computes in a folder, goes on from there when called again, and with `pages=True` writes the report.

# %%
study = Study(
    name="bowl lathe",
    base=lathe,
    plan=Plan(
        drive=RectangularCurrent(-36 * deg, -1 * deg),
        basis=EqualCopperLoss(60 * W),
        copper=copper,
        mesh=MeshSpec.named("coarse"),
        angle_points=16,
        current_points=1,
    ),
    variants=[
        Variant("narrow"),
        Variant("wide", {"rotor_pole.arc": 38 * deg}),
        Variant("tapered", {"rotor_pole.taper": 8 * deg}),
    ],
)
with TemporaryDirectory() as folder:
    result = run(study, workers=1, folder=folder, pages=False, progress=False)
result.ranking

# %% [markdown]
# From here: `studies/pottery_wheel.py` is a whole study with pictures, `studies/wheel_search.py` looks for a shape by
# itself, and `studies/wheel_uncertainty.py` asks how sure an order is.
