"""From records to their order, on the basis of their study."""

from polefem.ranking.order import Ranking, rank
from polefem.ranking.table import csv_text, table_text

__all__ = ["Ranking", "csv_text", "rank", "table_text"]
