"""What a winder is told, in words: lines of a list, and sentences."""

from __future__ import annotations

from polefem.copper import NextSize, WindingOrder
from polefem.params.quantity import percent, rounded

__all__ = ["JOINING_RULE", "WINDING_CAUTIONS", "winding_lines", "winding_sentences"]

JOINING_RULE = (
    "Wind all coils alike: counter-clockwise for who looks from the air gap at the pole's face, from the start S to "
    "the finish F. A current from S to F then drives flux towards the rotor (+)."
)
WINDING_CAUTIONS = (
    "Prove every joint before power: a tenth of the current, direct, into a phase's +, and a compass at the face of "
    "each pole tells its polarity.",
    "Test insulation to the core before the first run. A phase that is opened while it carries current arcs; "
    "capacitors hold their charge: discharge them before you touch an end.",
)


def winding_lines(order: WindingOrder) -> tuple[tuple[str, str], ...]:
    """What is ordered and wound: what it is, and how much."""
    wire = order.wire
    warm = order.temperature
    blocks = ((order.packing.layers, order.packing.per_layer), *order.packing.more)
    most = max(layers for layers, _ in blocks)
    each = sum(row for _, row in blocks)
    rows = f"{order.layers} of up to {each} wires, with room for {most}"
    in_hand = f", {order.strands} in hand" if order.strands > 1 else ""
    cold, hot = order.phase_resistance(20.0), order.phase_resistance(warm)
    said = [
        ("wire", f"{_mm(wire.bare)} mm bare, {_mm(wire.overall)} mm over enamel of grade 2{in_hand}"),
        ("turns", f"{order.turns} a coil, {order.coils} coils"),
        ("layers in a coil side", rows),
        (
            "fill",
            f"{percent(order.packing.fill)} with enamel, {percent(order.packing.copper_fill)} copper",
        ),
        (
            "length of wire",
            f"{_three(order.coil_length)} m a coil, {_three(order.length)} m in all, without leads",
        ),
        ("mass of copper", f"{_three(order.coil_mass)} kg a coil, {_three(order.mass)} kg in all"),
        (
            "mean turn",
            f"{order.coil.mean_turn * 1e3:.0f} mm, wound tight {order.coil.shortest_turn * 1e3:.0f} mm",
        ),
        ("resistance of a coil", f"{_three(order.coil_resistance(20.0))} ohm at 20 °C"),
        ("resistance of a phase", f"{_three(cold)} ohm at 20 °C, {_three(hot)} ohm at {warm:g} °C"),
    ]
    for name, size in (("next size down", order.smaller), ("next size up", order.larger)):
        if size is not None:
            said.append((name, _beside(size, warm)))
    return tuple(said)


def winding_sentences(order: WindingOrder) -> tuple[str, ...]:
    """What should be known of the numbers."""
    found = []
    if not order.named:
        found.append(
            f"The machine names no wire: figures are of {_three(order.counted)} ohm a phase, warm, and this is the "
            "standard size nearest to that which fits."
        )
    if not order.packing.fits:
        found.append("These turns do not fit in rows: take the next size down, or fewer turns.")
    found.append("Diameters over enamel are the standard's largest, from memory: measure your wire.")
    return tuple(found)


def _beside(size: NextSize, warm: float) -> str:
    fits = "fits" if size.packing.fits else "does not fit"
    ohms = f"{_three(size.resistance)} ohm a phase at {warm:g} °C"
    return f"{_mm(size.wire.bare)} mm, {_mm(size.wire.overall)} over enamel: {fits}, {ohms}"


def _mm(length: float) -> str:
    return f"{length * 1e3:.3f}"


def _three(number: float) -> str:
    return rounded(number, digits=3)
