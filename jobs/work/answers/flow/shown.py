"""The flow's figures as the API shows them."""

from jobs.work.answers.flow.outputs import (
    CauseOutput,
    ChartOutput,
    FlowCarsOutput,
    FlowOutput,
    InWorkOutput,
    LeadOutput,
    LeadsOutput,
    LimitingOutput,
    LimitsOutput,
    LittleOutput,
    LoadOutput,
    OnTimeOutput,
    PointOutput,
    ReworkOutput,
    SignalOutput,
    StageFlowOutput,
)
from jobs.work.calc.flow.control_chart import Rule, TimesChart
from jobs.work.calc.flow.figures import SECONDS_A_MINUTE, Little, Load, StageFlow
from jobs.work.selectors.flow.figures import ChartedCar, FlowFigures, Lead
from jobs.work.words.flow import (
    CAUSE_WORDS,
    CHART_METHOD,
    LIMIT_DEFINITION,
    LITTLE_WORDS,
    LOAD_ASSUMES,
    load_words,
    signal_words,
    steady_words,
)

SECONDS_A_DAY = 86_400


def flow(figures: FlowFigures) -> FlowOutput:
    """Return everything there is to say of a period."""
    asked = figures.asked
    return FlowOutput(
        since=asked.since,
        until=asked.until,
        dealer=asked.dealer_id,
        purpose=asked.purpose,
        cars=FlowCarsOutput(
            finished=figures.totals.cars,
            arrived=figures.arrived,
            inside_at_start=figures.edges.inside_at_start,
            inside_at_end=figures.edges.inside_at_end,
        ),
        stages=[_stage(stage, figures.totals.lead_seconds) for stage in figures.stages],
        lead=LeadsOutput(
            all=next((_lead(lead) for lead in figures.leads()), None),
            by_dealer=[_lead(lead) for lead in figures.leads(by_dealer=True)],
            by_purpose=[_lead(lead) for lead in figures.leads(by_purpose=True)],
            by_dealer_and_purpose=[
                _lead(lead) for lead in figures.leads(by_dealer=True, by_purpose=True)
            ],
        ),
        on_time=OnTimeOutput(
            with_due=figures.with_due,
            on_time=figures.on_time,
            percent=percent(figures.on_time, figures.with_due),
        ),
        rework=ReworkOutput(
            cars=figures.reworked,
            percent=percent(figures.reworked, figures.totals.cars),
        ),
        in_work=[
            InWorkOutput(stage=stage, cause=cause, cause_words=CAUSE_WORDS[cause], cars=cars)
            for (stage, cause), cars in sorted(figures.now.items())
        ],
        chart=_chart(figures),
        limiting=_limiting(figures),
        little=_little(figures.law),
    )


def minutes(seconds: float) -> float:
    """Return seconds as minutes, to a tenth."""
    return round(seconds / SECONDS_A_MINUTE, 1)


def percent(part: float, whole: float) -> float | None:
    """Return a share in percent to a tenth, or None of nothing."""
    return round(100 * part / whole, 1) if whole else None


def _stage(stage: StageFlow, lead_seconds: int) -> StageFlowOutput:
    return StageFlowOutput(
        stage=stage.stage,
        cars=stage.cars,
        minutes=minutes(stage.seconds),
        share_percent=percent(stage.seconds, lead_seconds),
        minutes_a_car=minutes(stage.time),
        working_minutes=minutes(stage.seconds - stage.waiting),
        waiting_minutes=minutes(stage.waiting),
        waited_for_minutes=minutes(stage.waited_for),
        mean_inside=round(stage.inside, 3),
        causes=[
            CauseOutput(
                cause=cause,
                cause_words=CAUSE_WORDS[cause],
                minutes=minutes(seconds),
                share_percent=percent(seconds, lead_seconds),
            )
            for cause, seconds in stage.causes.items()
        ],
    )


def _lead(lead: Lead) -> LeadOutput:
    return LeadOutput(
        dealer_id=lead.dealer_id,
        dealer=lead.dealer,
        purpose=lead.purpose,
        cars=lead.times.cars,
        p50_minutes=minutes(lead.times.p50),
        p80_minutes=minutes(lead.times.p80),
        few=lead.times.few,
    )


def _chart(figures: FlowFigures) -> ChartOutput:
    chart, points = figures.chart, figures.points
    signals = chart.signals if chart else ()
    return ChartOutput(
        points=[
            _point(car, [signal.rule for signal in signals if signal.at == place])
            for place, car in enumerate(points)
        ],
        limits=_limits(chart) if chart else None,
        signals=[
            SignalOutput(
                rule=signal.rule,
                side=signal.side,
                job_id=points[signal.at].job_id,
                begins_job_id=points[signal.begins].job_id,
                cars=signal.length,
                words=signal_words(signal),
            )
            for signal in signals
        ],
        compared_with_cars=figures.cars_before,
        steady=steady_words(chart),
        method=CHART_METHOD,
    )


def _limits(chart: TimesChart) -> LimitsOutput:
    return LimitsOutput(
        centre_minutes=minutes(chart.centre),
        lower_minutes=minutes(chart.lower),
        upper_minutes=minutes(chart.upper),
        jump_factor=round(chart.jump_factor, 2),
        provisional=chart.provisional,
    )


def _point(car: ChartedCar, rules: list[Rule]) -> PointOutput:
    return PointOutput(
        job_id=car.job_id,
        registration=car.name,
        dealer_ref=car.dealer_ref,
        ready_at=car.ready_at,
        lead_minutes=minutes(car.lead_seconds),
        rules=rules,
    )


def _limiting(figures: FlowFigures) -> LimitingOutput:
    most = figures.limit
    return LimitingOutput(
        stage=most.stage if most else None,
        minutes=minutes(most.of_people) if most else None,
        share_percent=percent(most.of_people, figures.totals.lead_seconds) if most else None,
        definition=LIMIT_DEFINITION,
        load=_load(figures.load) if figures.load else None,
    )


def _load(load: Load) -> LoadOutput:
    return LoadOutput(
        percent=round(100 * load.share, 1),
        people=load.people,
        wait_minutes=round(load.now.wait, 1) if load.now else None,
        wait_minutes_with_a_tenth_more_cars=(round(load.busier.wait, 1) if load.busier else None),
        words=load_words(load),
        assumes=LOAD_ASSUMES,
    )


def _little(law: Little) -> LittleOutput:
    return LittleOutput(
        mean_inside=round(law.inside, 3),
        finished_a_day=round(law.rate * SECONDS_A_DAY, 3),
        mean_days=round(law.time / SECONDS_A_DAY, 3),
        by_law=round(law.by_law, 3),
        difference=round(law.difference, 3),
        before_the_period=round(law.before, 3),
        unfinished_at_its_end=round(law.unfinished, 3),
        words=LITTLE_WORDS,
    )
