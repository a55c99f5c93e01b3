"""Findings over HTTP: report, list, acknowledge; belongings signed back and wiped."""

from typing import ClassVar
from uuid import UUID

from django.urls import path
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.api.base import ApiView
from accounts.caller import Access, Scope, caller_of, either, workshops
from core.api.examples import answered, sent
from jobs.work.answers.findings import examples
from jobs.work.answers.findings.outputs import BelongingOutput, FindingOutput, FindingsOutput
from jobs.work.calc.findings import Over
from jobs.work.inputs.findings import (
    AcknowledgeInput,
    ClearInput,
    FindingInput,
    ReturnInput,
    StopWithdrawInput,
    WipedInput,
)
from jobs.work.selectors.findings.findings import finding_of, findings_of
from jobs.work.services.findings.belongings import belonging_return, belonging_wipe
from jobs.work.services.findings.do_not_drive import finding_clear, finding_withdraw
from jobs.work.services.findings.findings import finding_acknowledge, finding_report


class Findings(ApiView):
    """What was noticed about a car."""

    access: ClassVar[dict[str, Access]] = {
        "GET": either(Scope.READ),
        "POST": workshops(Scope.WORK),
    }

    @extend_schema(
        operation_id="finding_list",
        tags=["findings"],
        responses={200: FindingsOutput},
        examples=[answered("One finding", {"findings": [examples.FINDING]})],
    )
    def get(self, request: Request, job_id: UUID) -> Response:
        """List the findings of a job with their pictures, oldest first."""
        rows = findings_of(caller_of(request), job_id)
        return Response(FindingsOutput(findings=FindingOutput.rows(rows)))

    @extend_schema(
        operation_id="finding_report",
        tags=["findings"],
        request=FindingInput,
        responses={201: FindingOutput},
        examples=[
            sent("A noise", examples.REPORT),
            sent("Papers, by a phrase", examples.REPORT_BELONGING),
            answered("The finding", examples.FINDING, 201),
            answered("Papers", examples.BELONGINGS, 201),
        ],
    )
    def post(self, request: Request, job_id: UUID) -> Response:
        """Report what was seen or heard, without a diagnosis.

        Left and right are as from the driver's seat. "Do not drive" goes out at once by every
        channel and holds the job until it is cleared or withdrawn. What belongings are stays
        between the dealer and the workshop: notices only say that there are some.
        """
        report = self.read(FindingInput, request)
        finding = finding_report(caller=caller_of(request), job_id=job_id, report=report)
        headers = {"Location": f"/api/v1/findings/{finding.pk}"}
        return Response(FindingOutput(finding).data, status=201, headers=headers)


class FindingDetail(ApiView):
    """One finding."""

    access: ClassVar[dict[str, Access]] = {"GET": either(Scope.READ)}

    @extend_schema(
        operation_id="finding_read",
        tags=["findings"],
        responses={200: FindingOutput},
        examples=[answered("Acknowledged", examples.ACKNOWLEDGED)],
    )
    def get(self, request: Request, finding_id: UUID) -> Response:
        """Read one finding, as a notice names it."""
        return Response(FindingOutput(finding_of(caller_of(request), finding_id)).data)


class FindingAcknowledge(ApiView):
    """The dealer knows."""

    # The scope depends on the side, so the service asks for it, before it looks anything up.
    access: ClassVar[dict[str, Access]] = {"POST": either(None)}

    @extend_schema(
        operation_id="finding_acknowledge",
        tags=["findings"],
        request=AcknowledgeInput,
        responses={200: FindingOutput},
        examples=[
            sent("By the dealer", {"note": "We fetch it on a trailer."}),
            sent("Told by telephone", {"told": "Ines Okafor-Lind, by telephone"}),
            answered("The finding", examples.ACKNOWLEDGED),
        ],
    )
    def post(self, request: Request, finding_id: UUID) -> Response:
        """Acknowledge a finding: the dealer knows. The hold of a "do not drive" stays.

        Nobody moves such a car until it is repaired or will be transported, which is recorded
        with `POST /findings/{finding_id}/clear`.

        The dealer does it with the scope orders.write. Where the dealer was told by telephone, a
        workshop's caller with jobs.override does it and says in `told` whom. The first
        acknowledgement stands; sending another changes nothing and gives back what stands.
        """
        values = self.read(AcknowledgeInput, request)
        finding = finding_acknowledge(
            caller=caller_of(request),
            finding_id=finding_id,
            occurred_at=values.get("occurred_at"),
            note=values.get("note", ""),
            told=values.get("told", ""),
        )
        return Response(FindingOutput(finding).data)


class FindingClear(ApiView):
    """A "do not drive" is over."""

    # The scope depends on the side, so the service asks for it, before it looks anything up.
    access: ClassVar[dict[str, Access]] = {"POST": either(None)}

    @extend_schema(
        operation_id="finding_clear",
        tags=["findings"],
        request=ClearInput,
        responses={200: FindingOutput},
        examples=[
            sent("Repaired", {"how": "repaired", "by": "Corm Mobile Mechanics"}),
            sent(
                "To be transported",
                {
                    "how": "transported",
                    "by": "Brackmoor's recovery truck",
                    "at": "2027-03-02T08:00:00Z",
                },
            ),
            answered("The finding", examples.CLEARED),
        ],
    )
    def post(self, request: Request, finding_id: UUID) -> Response:
        """Record that the car was repaired, or will be transported: by whom, and when.

        The hold of the finding ends with it. A car to be transported may go on through the
        stages, but `do_not_drive` stays true, and every page says so, until it is collected. A
        dealer's caller needs orders.write, a workshop's jobs.work. Sent again, what stands comes
        back; only a car to be transported may be repaired after all.
        """
        values = self.read(ClearInput, request)
        finding = finding_clear(
            caller=caller_of(request),
            finding_id=finding_id,
            how=Over(values["how"]),
            by=values["by"],
            at=values.get("at"),
            occurred_at=values.get("occurred_at"),
        )
        return Response(FindingOutput(finding).data)


class FindingWithdraw(ApiView):
    """A "do not drive" was a mistake."""

    access: ClassVar[dict[str, Access]] = {"POST": workshops(Scope.WORK)}

    @extend_schema(
        operation_id="finding_withdraw",
        tags=["findings"],
        request=StopWithdrawInput,
        responses={200: FindingOutput},
        examples=[
            sent("Wrong car", {"reason": "Tapped on the wrong car."}),
            answered("The finding", examples.WITHDRAWN),
        ],
    )
    def post(self, request: Request, finding_id: UUID) -> Response:
        """Withdraw a "do not drive" that was a mistake; everybody who was told is told why.

        The person who reported it may, a manager, and a system with jobs.work. The hold of the
        finding ends. Sent again, what stands comes back.
        """
        values = self.read(StopWithdrawInput, request)
        finding = finding_withdraw(
            caller=caller_of(request),
            finding_id=finding_id,
            reason=values["reason"],
            occurred_at=values.get("occurred_at"),
        )
        return Response(FindingOutput(finding).data)


class BelongingReturn(ApiView):
    """A thing goes back to somebody."""

    access: ClassVar[dict[str, Access]] = {"POST": workshops(Scope.WORK)}

    @extend_schema(
        operation_id="belonging_return",
        tags=["findings"],
        request=ReturnInput,
        responses={200: BelongingOutput},
        examples=[
            sent("Signed for", {"returned_to": "Ines Okafor-Lind"}),
            answered("The belonging", examples.BELONGING),
        ],
    )
    def post(self, request: Request, job_id: UUID, belonging_id: UUID) -> Response:
        """Sign a thing back: who takes it; also after the car has gone without it."""
        values = self.read(ReturnInput, request)
        belonging = belonging_return(
            caller=caller_of(request),
            job_id=job_id,
            belonging_id=belonging_id,
            returned_to=values["returned_to"],
            occurred_at=values.get("occurred_at"),
        )
        return Response(BelongingOutput(belonging).data)


class BelongingWiped(ApiView):
    """Personal data in the car."""

    access: ClassVar[dict[str, Access]] = {"POST": workshops(Scope.WORK)}

    @extend_schema(
        operation_id="belonging_wiped",
        tags=["findings"],
        request=WipedInput,
        responses={200: BelongingOutput},
        examples=[
            sent("Wiped", {"wiped": True}),
            answered("The belonging", examples.BELONGING),
        ],
    )
    def post(self, request: Request, job_id: UUID, belonging_id: UUID) -> Response:
        """Record whether a paired phone, saved destinations or other data was wiped or left."""
        values = self.read(WipedInput, request)
        belonging = belonging_wipe(
            caller=caller_of(request),
            job_id=job_id,
            belonging_id=belonging_id,
            wiped=values["wiped"],
            occurred_at=values.get("occurred_at"),
        )
        return Response(BelongingOutput(belonging).data)


urlpatterns = [
    path("jobs/<uuid:job_id>/findings", Findings.as_view()),
    path("findings/<uuid:finding_id>", FindingDetail.as_view()),
    path("findings/<uuid:finding_id>/acknowledge", FindingAcknowledge.as_view()),
    path("findings/<uuid:finding_id>/clear", FindingClear.as_view()),
    path("findings/<uuid:finding_id>/withdraw", FindingWithdraw.as_view()),
    path(
        "jobs/<uuid:job_id>/belongings/<uuid:belonging_id>/return",
        BelongingReturn.as_view(),
    ),
    path(
        "jobs/<uuid:job_id>/belongings/<uuid:belonging_id>/wiped",
        BelongingWiped.as_view(),
    ),
]
