"""From records to their order, on the basis of their study, and how sure that order is."""

from polefem.ranking.at_the_shaft import ShaftFigures, drive_points, shaft_figures, shaft_text
from polefem.ranking.drive_words import change_sentence, drives_text
from polefem.ranking.drives import IDEAL, RAMPED, DriveOrders, orders_under_drives
from polefem.ranking.order import Ranking, rank
from polefem.ranking.pareto import pareto_set
from polefem.ranking.remarks import remarks
from polefem.ranking.table import csv_text, table_cells, table_text
from polefem.ranking.uncertainty import Uncertainty, uncertainty_of
from polefem.ranking.words import (
    fields_text,
    figures_text,
    pareto_text,
    sensitivity_sentence,
    sensitivity_text,
    uncertainty_text,
    verdict_sentences,
)

__all__ = [
    "IDEAL",
    "RAMPED",
    "DriveOrders",
    "Ranking",
    "ShaftFigures",
    "Uncertainty",
    "change_sentence",
    "csv_text",
    "drive_points",
    "drives_text",
    "fields_text",
    "figures_text",
    "orders_under_drives",
    "pareto_set",
    "pareto_text",
    "rank",
    "remarks",
    "sensitivity_sentence",
    "sensitivity_text",
    "shaft_figures",
    "shaft_text",
    "table_cells",
    "table_text",
    "uncertainty_of",
    "uncertainty_text",
    "verdict_sentences",
]
