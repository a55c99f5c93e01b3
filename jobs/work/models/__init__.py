"""What is stored about a job."""

from jobs.work.models.air import ClimateReading, ClimateSetup, Forecast, Place
from jobs.work.models.catalogue import Operation, Package
from jobs.work.models.coats import Coat, SuppliedTick
from jobs.work.models.findings import Belonging, Finding, Phrase, WalkRound
from jobs.work.models.flow import FlowCar
from jobs.work.models.jobs.history import HistoryEntry
from jobs.work.models.jobs.job import Job
from jobs.work.models.orders import DashboardLook, DayCapacity, OrderImport
from jobs.work.models.paint import FilmCheck, PaintTest, PassesDone, SpotReading
from jobs.work.models.photographs import Photo, Rendition
from jobs.work.models.products import Product, ProductUse
from jobs.work.models.requests import RequestMessage, ScopeChange, WorkRequest
from jobs.work.models.tasks import Hold, Spell, Task, TouchTest, WaitClock

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
