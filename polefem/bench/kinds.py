"""What one shape is exported as."""

__all__ = ["KINDS"]

KINDS = {
    "toml": "its machine, which load_machine reads",
    "dxf": "its parts and coils at 1:1, for a cutter",
    "svg": "its parts at 1:1",
    "pdf": "its sheets to print: to cut, to wind, to join",
    "msh": "its mesh, with the field where it is aligned",
    "vtu": "its fields: aligned, half overlap, unaligned",
    "nc": "its flux maps: of one phase, and of all together",
    "csv": "its flux map of one phase",
    "json": "its flux map of one phase",
}
"""What a shape is exported as, by the ending of the file, and what it holds."""
