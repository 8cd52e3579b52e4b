"""From an outline to the meshes of rotor and stator over the smallest sector. The only room that knows gmsh."""

from polefem.mesher.sector import mesh_side, mesh_sides

__all__ = ["mesh_side", "mesh_sides"]
