"""What is stored about a job."""

from jobs.models.catalogue import Operation, Package
from jobs.models.climate import ClimateReading, ClimateSetup, Forecast, Place
from jobs.models.condition import Belonging, Finding, Phrase, WalkRound
from jobs.models.desk import DashboardLook, DayCapacity, OrderImport
from jobs.models.flow import FlowCar
from jobs.models.history import HistoryEntry
from jobs.models.job import Job
from jobs.models.paint import FilmCheck, PaintTest, PassesDone, SpotReading
from jobs.models.photos import Photo, Rendition
from jobs.models.products import Product, ProductUse
from jobs.models.refinishing import Coat, SuppliedTick
from jobs.models.requests import RequestMessage, ScopeChange, WorkRequest
from jobs.models.work import Hold, Spell, Task, TouchTest, WaitClock

__all__ = [
    "Belonging",
    "ClimateReading",
    "ClimateSetup",
    "Coat",
    "DashboardLook",
    "DayCapacity",
    "FilmCheck",
    "Finding",
    "FlowCar",
    "Forecast",
    "HistoryEntry",
    "Hold",
    "Job",
    "Operation",
    "OrderImport",
    "Package",
    "PaintTest",
    "PassesDone",
    "Photo",
    "Phrase",
    "Place",
    "Product",
    "ProductUse",
    "Rendition",
    "RequestMessage",
    "ScopeChange",
    "Spell",
    "SpotReading",
    "SuppliedTick",
    "Task",
    "TouchTest",
    "WaitClock",
    "WalkRound",
    "WorkRequest",
]
