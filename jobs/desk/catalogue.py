"""What a workshop sets up about its work: lists of operations, packages and phrases to edit.

The three are edited alike, so the pages are written once; a `Shelf` says what differs.
"""

from abc import ABC, abstractmethod
from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar
from uuid import UUID

from django.http import HttpRequest, HttpResponse, QueryDict
from django.urls import reverse
from django.utils.http import urlencode

from accounts.caller import Access, Caller
from core.api.serializers import StrictSerializer
from core.forms import Field, PageForm
from core.problems import NotFound, Problem
from jobs.desk.base import LONGEST_SEARCH, MANAGERS, DeskPage
from jobs.work.calc.catalogue.workshop import LONGEST_CODE, code_from

CODE = Field(
    "code",
    "Code",
    longest=LONGEST_CODE,
    hint="What systems call it, as in roof_box. Left empty, it is made of the words.",
)
WHOSE = {"standard": "ours", "reworded": "your words", "own": "your own"}


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing on a shelf, as a list shows it; `thing` is what it stands for."""

    code: str
    name: str
    group: str
    wording: str
    hidden: bool
    facts: Sequence[str]
    thing: Any

    @property
    def whose(self) -> str:
        """Return whose words these are, in words."""
        return WHOSE[self.wording]

    @property
    def own(self) -> bool:
        """Return whether it is the workshop's, and not a way of ours."""
        return self.wording == "own"

    @property
    def changed(self) -> bool:
        """Return whether it can go back to how we say it."""
        return self.wording == "reworded"

    def has(self, text: str) -> bool:
        """Return whether somebody who looks for this text means it."""
        return text.casefold() in " ".join((self.name, self.code, *self.facts)).casefold()


class Shelf(ABC):
    """What the pages of one kind of entry need to know."""

    one: ClassVar[str]
    many: ClassVar[str]
    about: ClassVar[str]
    added: ClassVar[str] = "Dealers can order it from now on."
    add_input: ClassVar[type[StrictSerializer]]
    change_input: ClassVar[type[StrictSerializer]]
    form: ClassVar[str] = "jobs/desk/catalogue/fields.html"

    @abstractmethod
    def entries(self, workshop_id: UUID) -> list[Entry]:
        """Return everything on it, hidden ones too, group by group."""

    @abstractmethod
    def fields(self, workshop_id: UUID, entry: Entry | None) -> list[Field]:
        """Return the fields of the form, for a new entry where it is None."""

    @abstractmethod
    def standing(self, entry: Entry) -> Mapping[str, Any]:
        """Return what stands in those fields."""

    @abstractmethod
    def words_of(self, typed: QueryDict) -> str:
        """Return what a code can be made of."""

    @abstractmethod
    def add(self, caller: Caller, values: Mapping[str, Any]) -> None:
        """Add an entry."""

    @abstractmethod
    def change(self, caller: Caller, code: str, values: Mapping[str, Any]) -> None:
        """Change an entry."""

    @abstractmethod
    def remove(self, caller: Caller, code: str) -> None:
        """Delete an entry, or go back to ours."""

    def taken(self, workshop_id: UUID) -> Container[str]:
        """Return the codes that are in use."""
        return {entry.code for entry in self.entries(workshop_id)}

    def beside(self, workshop_id: UUID, form: PageForm, entry: Entry | None) -> Mapping[str, Any]:
        """Return what else the template of the form needs."""
        del workshop_id, form, entry
        return {}

    @property
    def list_url(self) -> str:
        """Return the address of the list."""
        return reverse(f"desk_{self.many}")

    @property
    def new_url(self) -> str:
        """Return the address of the form for a new one."""
        return reverse(f"desk_{self.one}_new")

    def find(self, workshop_id: UUID, code: str) -> Entry:
        """Return one entry. Raises NotFound."""
        for entry in self.entries(workshop_id):
            if entry.code == code:
                return entry
        raise NotFound(f"There is no such {self.one}, or it is not yours.")


class SetUp(DeskPage):
    """The index of what can be set up."""

    access: ClassVar[dict[str, Access]] = {"GET": MANAGERS}

    def get(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Show it."""
        return self.page(request, caller, "jobs/desk/catalogue/set_up.html", here="set_up")


class ShelfPage(DeskPage):
    """A page about one shelf."""

    shelf: Shelf = None  # type: ignore[assignment]  # each route gives its own

    def found(self, caller: Caller, which: Mapping[str, str]) -> Entry:
        """Return the entry that the address names. Raises NotFound."""
        return self.shelf.find(caller.organisation_id, *which.values())


class ShelfList(ShelfPage):
    """Everything on a shelf, narrowed by a search."""

    access: ClassVar[dict[str, Access]] = {"GET": MANAGERS}

    def get(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Show it by group, and what is hidden at the end."""
        text = request.GET.get("search", "").strip()[:LONGEST_SEARCH]
        found = [entry for entry in self.shelf.entries(caller.organisation_id) if entry.has(text)]
        groups: dict[str, list[Entry]] = {}
        for entry in found:
            if not entry.hidden:
                groups.setdefault(entry.group, []).append(entry)
        return self.page(
            request,
            caller,
            "jobs/desk/catalogue/list.html",
            here="set_up",
            shelf=self.shelf,
            base=self.shelf.list_url,
            search=Field("search", f"Find {self.shelf.many}", longest=LONGEST_SEARCH, value=text),
            groups=groups.items(),
            hidden=[entry for entry in found if entry.hidden],
        )


class ShelfNew(ShelfPage):
    """A new entry of the workshop's own."""

    def get(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Show the form."""
        return self.show(request, caller, self.filled(caller))

    def filled(self, caller: Caller, typed: QueryDict | None = None) -> PageForm:
        """Return the form, with a code made of the words where nobody typed one."""
        shelf, workshop_id = self.shelf, caller.organisation_id
        if typed is not None and not typed.get("code", "").strip():
            typed = typed.copy()
            typed["code"] = code_from(shelf.words_of(typed), shelf.taken(workshop_id))
        fields = [*shelf.fields(workshop_id, None), CODE]
        return PageForm(shelf.add_input, fields, typed=typed)

    def show(
        self, request: HttpRequest, caller: Caller, form: PageForm, status: int = 200
    ) -> HttpResponse:
        """Show the form, perhaps with what is wrong in it."""
        return self.page(
            request,
            caller,
            "jobs/desk/catalogue/new.html",
            status=status,
            here="set_up",
            shelf=self.shelf,
            form=form,
            **self.shelf.beside(caller.organisation_id, form, None),
        )

    def post(self, request: HttpRequest, caller: Caller) -> HttpResponse:
        """Add it."""
        form = self.filled(caller, request.POST)
        if not form.is_valid():
            return self.show(request, caller, form, 400)
        try:
            self.shelf.add(caller, form.values)
        except Problem as problem:
            form.add_problem(problem)
            return self.show(request, caller, form, problem.status)
        added = self.shelf.find(caller.organisation_id, form.values["code"])
        return self.done(request, self.shelf.list_url, f"Added: {added.name}. {self.shelf.added}")


class ShelfEntry(ShelfPage):
    """One entry: what stands, and a form to change it."""

    def get(self, request: HttpRequest, caller: Caller, **which: str) -> HttpResponse:
        """Show it as it stands."""
        entry = self.found(caller, which)
        form = self.form(caller, entry, standing=self.shelf.standing(entry))
        return self.show(request, caller, entry, form)

    def form(self, caller: Caller, entry: Entry, **about: Any) -> PageForm:
        """Return the form, as it stands or as it was sent."""
        fields = self.shelf.fields(caller.organisation_id, entry)
        return PageForm(self.shelf.change_input, fields, partial=True, **about)

    def show(
        self,
        request: HttpRequest,
        caller: Caller,
        entry: Entry,
        form: PageForm,
        status: int = 200,
    ) -> HttpResponse:
        """Show it, perhaps with what is wrong in the form."""
        return self.page(
            request,
            caller,
            "jobs/desk/catalogue/entry.html",
            status=status,
            here="set_up",
            shelf=self.shelf,
            entry=entry,
            form=form,
            hide_url=reverse(f"desk_{self.shelf.one}_hide", args=[entry.code]),
            remove_url=reverse(f"desk_{self.shelf.one}_remove", args=[entry.code]),
            **self.shelf.beside(caller.organisation_id, form, entry),
        )

    def post(self, request: HttpRequest, caller: Caller, **which: str) -> HttpResponse:
        """Change what differs, so that opening and saving one of ours leaves it ours."""
        entry = self.found(caller, which)
        form = self.form(caller, entry, typed=request.POST)
        if not form.is_valid():
            return self.show(request, caller, entry, form, 400)
        stands = self.form(caller, entry, standing=self.shelf.standing(entry))
        stood = {name: field.value for name, field in stands.fields.items()}
        changes = {
            name: value
            for name, value in form.values.items()
            if not _same(form.fields[name].value, stood[name])
        }
        try:
            if changes:
                self.shelf.change(caller, entry.code, changes)
        except Problem as problem:
            form.add_problem(problem)
            return self.show(request, caller, entry, form, problem.status)
        changed = self.shelf.find(caller.organisation_id, entry.code)
        said = "Saved" if changes else "Nothing was changed"
        return self.done(request, self.shelf.list_url, f"{said}: {changed.name}.")


def _same(typed: Any, stood: Any) -> bool:
    """Return whether a field holds what stood in it; browsers end lines their own way."""
    if isinstance(typed, list):
        return sorted(typed) == sorted(stood)
    return str(typed).splitlines() == str(stood).splitlines()


class ShelfHide(ShelfPage):
    """Hides an entry, so that nobody orders or picks it, or shows it again."""

    http_method_names = ["post"]
    access: ClassVar[dict[str, Access]] = {"POST": MANAGERS}

    def post(self, request: HttpRequest, caller: Caller, **which: str) -> HttpResponse:
        """Hide it where the form says so, else show it, and go back to the list."""
        entry, hidden = self.found(caller, which), request.POST.get("hidden") == "yes"
        self.shelf.change(caller, entry.code, {"hidden": hidden})
        text = request.POST.get("search", "").strip()[:LONGEST_SEARCH]
        query = f"?{urlencode({'search': text})}" if text else ""
        said = "Hidden" if hidden else "Shown again"
        return self.done(request, f"{self.shelf.list_url}{query}", f"{said}: {entry.name}.")


class ShelfRemove(ShelfPage):
    """Deletes an entry of the workshop's own; one of ours goes back to how we say it."""

    http_method_names = ["post"]
    access: ClassVar[dict[str, Access]] = {"POST": MANAGERS}

    def post(self, request: HttpRequest, caller: Caller, **which: str) -> HttpResponse:
        """Do it; what still needs the entry is told on a page."""
        entry = self.found(caller, which)
        self.shelf.remove(caller, entry.code)
        if entry.own:
            return self.done(request, self.shelf.list_url, f"Deleted: {entry.name}.")
        back = self.shelf.find(caller.organisation_id, entry.code)
        return self.done(request, self.shelf.list_url, f"Back to ours: {back.name}.")
