"""The standards' test signals, run through the chain that live audio runs through and judged."""

from app.conform.case import Case, Measured, Result, Trial
from app.conform.catalogue import trials
from app.conform.running import run, run_catalogue

__all__ = ["Case", "Measured", "Result", "Trial", "run", "run_catalogue", "trials"]
