"""From records to their order, on the basis of their study, and how sure that order is."""

from polefem.ranking.doubt import Doubt, doubt_of
from polefem.ranking.drive_words import drives_text
from polefem.ranking.drives import IDEAL, DriveOrders, orders_under_drives
from polefem.ranking.order import Ranking, rank
from polefem.ranking.pareto import pareto_set
from polefem.ranking.table import csv_text, table_cells, table_text
from polefem.ranking.words import doubt_text, fields_text, pareto_text, sensitivity_text, unit_of_figure

__all__ = [
    "IDEAL",
    "Doubt",
    "DriveOrders",
    "Ranking",
    "csv_text",
    "doubt_of",
    "doubt_text",
    "drives_text",
    "fields_text",
    "orders_under_drives",
    "pareto_set",
    "pareto_text",
    "rank",
    "sensitivity_text",
    "table_cells",
    "table_text",
    "unit_of_figure",
]
