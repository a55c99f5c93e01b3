"""Addresses of findings."""

from django.urls import URLPattern, path

from jobs.work.api.findings import findings, phrases, walk_rounds

urlpatterns: list[URLPattern] = [
    path("jobs/<uuid:job_id>/findings", findings.Findings.as_view()),
    path("findings/<uuid:finding_id>", findings.FindingDetail.as_view()),
    path("findings/<uuid:finding_id>/acknowledge", findings.FindingAcknowledge.as_view()),
    path("findings/<uuid:finding_id>/clear", findings.FindingClear.as_view()),
    path("findings/<uuid:finding_id>/withdraw", findings.FindingWithdraw.as_view()),
    path(
        "jobs/<uuid:job_id>/belongings/<uuid:belonging_id>/return",
        findings.BelongingReturn.as_view(),
    ),
    path(
        "jobs/<uuid:job_id>/belongings/<uuid:belonging_id>/wiped",
        findings.BelongingWiped.as_view(),
    ),
    path("jobs/<uuid:job_id>/walk-rounds", walk_rounds.WalkRoundList.as_view()),
    path("walk-round-items", walk_rounds.WalkRoundItems.as_view()),
    path("phrases", phrases.Phrases.as_view()),
    path("phrases/<str:code>", phrases.PhraseDetail.as_view()),
    path("areas", phrases.AreaList.as_view()),
]
