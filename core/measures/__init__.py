"""Measures: numbers from one map."""

from core.measures.catalogue import CATALOGUE, FAMILIES, readings
from core.measures.quantity import Quantity
from core.measures.reading import Reading
from core.measures.surface import Surface

__all__ = ["CATALOGUE", "FAMILIES", "Quantity", "Reading", "Surface", "readings"]
