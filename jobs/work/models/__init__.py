"""What is stored about a job."""

from jobs.work.models.catalogue import Operation, Package
from jobs.work.models.climate import ClimateReading, ClimateSetup, Forecast, Place
from jobs.work.models.condition import Belonging, Finding, Phrase, WalkRound
from jobs.work.models.desk import DashboardLook, DayCapacity, OrderImport
from jobs.work.models.flow import FlowCar
from jobs.work.models.history import HistoryEntry
from jobs.work.models.job import Job
from jobs.work.models.paint import FilmCheck, PaintTest, PassesDone, SpotReading
from jobs.work.models.photos import Photo, Rendition
from jobs.work.models.products import Product, ProductUse
from jobs.work.models.refinishing import Coat, SuppliedTick
from jobs.work.models.requests import RequestMessage, ScopeChange, WorkRequest
from jobs.work.models.work import Hold, Spell, Task, TouchTest, WaitClock

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
