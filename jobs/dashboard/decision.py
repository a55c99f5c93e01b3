"""The page behind the link in the dealer's e-mail: what is proposed, and an answer to it.

The link is the permission, so nobody signs in. Looking changes nothing, since mail scanners
follow links too; only the form answers. A link answers once, and then says what stands.
"""

from typing import Any
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.middleware.csrf import CsrfViewMiddleware
from django.shortcuts import render
from django.utils.decorators import method_decorator
from django.views import View
from django.views.decorators.csrf import csrf_exempt

from accounts.caller import Caller, Scope, Side
from core.clock import now
from jobs.work.models import WorkRequest
from jobs.work.problems import LinkUsed, RequestClosed
from jobs.work.selectors.catalogue import catalogue_of
from jobs.work.selectors.requests.links import DecisionLink, Standing, decision_link, photo_of_link
from jobs.work.services.photographs.files import file_read
from jobs.work.services.requests.closing import request_lapse
from jobs.work.services.requests.requests import APPROVE, ASK, DECLINE, request_answer

BY_LINK = "by the e-mail link"
LONGEST_NAME = 80
LONGEST_TEXT = 500
# Nothing runs and nothing comes from elsewhere. Not `no-referrer`: with it browsers send
# `Origin: null` with the form, which no check against forgery can tell from a stranger's page;
# `same-origin` tells other sites as little.
HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; style-src 'self'; img-src 'self'; form-action 'self'; "
        "base-uri 'none'; frame-ancestors 'none'"
    ),
    "Referrer-Policy": "same-origin",
    "Cache-Control": "no-store",
    "X-Robots-Tag": "noindex, nofollow",
}
STATUS_OF = {
    Standing.GOOD: 200,
    Standing.USED: 409,
    Standing.CLOSED: 409,
    Standing.OVERDUE: 410,
}


class AnswerForm(forms.Form):
    """What the person typed, and the button pressed."""

    answer = forms.ChoiceField(
        choices=[(word, word) for word in (APPROVE, DECLINE, ASK)],
        error_messages={"required": "Choose approve, decline or ask."},
    )
    name = forms.CharField(
        max_length=LONGEST_NAME,
        required=False,
        error_messages={"max_length": f"Keep your name to {LONGEST_NAME} letters."},
    )
    text = forms.CharField(
        max_length=LONGEST_TEXT,
        required=False,
        error_messages={"max_length": f"Keep it to {LONGEST_TEXT} letters."},
    )

    def clean(self) -> dict[str, Any]:
        """Want the question where one is asked."""
        values = super().clean() or self.cleaned_data
        if values.get("answer") == ASK and not values.get("text") and "text" not in self.errors:
            self.add_error(
                "text", "Write your question as the word to the workshop, then press Ask first."
            )
        return values


class ForgeryCheck(CsrfViewMiddleware):
    """Django's check of a form, which says what it found instead of answering."""

    def _reject(self, request: HttpRequest, reason: str) -> HttpResponse:
        del request
        return HttpResponse(reason, status=403)


@method_decorator(csrf_exempt, name="dispatch")  # checked in `post`, to answer with a page
class LinkView(View):
    """Finds what the link in the address stands for, and keeps the answer private."""

    http_method_names = ["get", "head", "post"]

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Answer 404 for a link that is not ours; send the headers with every answer."""
        self.link = decision_link(kwargs.pop("token"))
        if self.link is None:
            response: HttpResponseBase = self.page(request, "unknown", 404)
        else:
            response = super().dispatch(request, *args, **kwargs)
        for name, value in HEADERS.items():
            response.headers[name] = value
        return response

    def page(self, request: HttpRequest, name: str, status: int, **about: Any) -> HttpResponse:
        """Render one of the pages."""
        return render(request, f"jobs/decision/{name}.html", about, status=status)


class DecisionPage(LinkView):
    """Shows the request, and takes one answer."""

    link: DecisionLink

    def get(self, request: HttpRequest) -> HttpResponse:
        """Show the request with the form, or what stands."""
        if self.link.standing(now()) is Standing.GOOD:
            return self.proposal(request, AnswerForm())
        return self.what_stands(request)

    def post(self, request: HttpRequest) -> HttpResponse:
        """Take the answer, once."""
        standing = self.link.standing(now())
        if standing is Standing.OVERDUE:
            request_lapse(request_id=self.link.request.pk)
        if standing is not Standing.GOOD:
            return self.what_stands(request)
        if ForgeryCheck(self.post).process_view(request, self.post, (), {}) is not None:
            return self.page(request, "no_cookie", 403)
        form = AnswerForm(request.POST)
        if not form.is_valid():
            return self.proposal(request, form, 400)
        values = form.cleaned_data
        try:
            answered = request_answer(
                caller=_by_link(self.link.request, values["name"]),
                request_id=self.link.request.pk,
                answer=values["answer"],
                note=values["text"],
                occurred_at=now(),
                way=WorkRequest.Way.LINK.value,
                in_round=self.link.round,
            )
        except (LinkUsed, RequestClosed):  # somebody was quicker, or the time ran out
            self.link.request.refresh_from_db()
            return self.what_stands(request)
        job = self.link.request.job
        return self.page(request, "thanks", 200, asked=answered, job=job, answer=values["answer"])

    def proposal(self, request: HttpRequest, form: AnswerForm, status: int = 200) -> HttpResponse:
        """Render what is proposed, with the form."""
        proposed = self.link.request
        catalogue = catalogue_of(proposed.job.workshop_id)
        return self.page(
            request,
            "proposal",
            status,
            asked=proposed,
            job=proposed.job,
            operations=[catalogue.name_of(code) for code in proposed.operations],
            form=form,
            token=request.path.rpartition("/")[2],
            longest_name=LONGEST_NAME,
            longest_text=LONGEST_TEXT,
        )

    def what_stands(self, request: HttpRequest) -> HttpResponse:
        """Render how the request stands, for a link that answers no more."""
        standing = self.link.standing(now())
        asked = self.link.request
        return self.page(
            request,
            "stands",
            STATUS_OF[standing],
            asked=asked,
            job=asked.job,
            standing=standing.value,
            last=asked.messages.order_by("pk").last(),
        )


class DecisionPhoto(LinkView):
    """A picture of the request, while its link can still answer."""

    link: DecisionLink

    def get(self, request: HttpRequest, photo_id: UUID, size: int) -> HttpResponse:
        """Return the picture."""
        photo = photo_of_link(self.link, photo_id)
        sizes = {rendition.size: rendition for rendition in photo.renditions.all()} if photo else {}
        if size not in sizes or self.link.standing(now()) is not Standing.GOOD:
            return self.page(request, "unknown", 404)
        return HttpResponse(file_read(sizes[size]), content_type="image/jpeg")


def _by_link(request: WorkRequest, name: str) -> Caller:
    """Return the caller that whoever holds the link is: the dealer, to answer and nothing else."""
    return Caller(
        organisation_id=request.job.dealer_id,
        side=Side.DEALER,
        scopes=frozenset({Scope.ORDER}),
        name=f"{name} ({BY_LINK})" if name else BY_LINK.capitalize(),
    )
