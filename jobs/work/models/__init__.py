"""What is stored about a job."""

from jobs.work.models.air import ClimateReading, ClimateSetup, Forecast, Place
from jobs.work.models.catalogue import Operation, Package
from jobs.work.models.coats import Coat, SuppliedTick
from jobs.work.models.curing import TouchTest, WaitClock
from jobs.work.models.findings import Belonging, Finding, Phrase
from jobs.work.models.flow import FlowCar
from jobs.work.models.holds import Hold
from jobs.work.models.hours import DayCapacity
from jobs.work.models.jobs.history import HistoryEntry
from jobs.work.models.jobs.job import Job
from jobs.work.models.looks import DashboardLook
from jobs.work.models.orders import OrderImport, ScopeChange
from jobs.work.models.paint import FilmCheck, PaintTest, PassesDone, SpotReading
from jobs.work.models.photographs import Photo, Rendition
from jobs.work.models.products import Product, ProductUse
from jobs.work.models.requests import RequestMessage, WorkRequest
from jobs.work.models.tasks import Spell, Task
from jobs.work.models.walk_rounds import WalkRound

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
