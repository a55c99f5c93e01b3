// What the pages carry for their scripts: the data-… of their elements, and the events they send.
// A name that is not here is refused by `make check`.

import type { ParseSelector } from "typed-query-selector/parser.js";

interface Queued {
  job: string | undefined;
  kind: string | undefined;
}

declare global {
  interface DocumentEventMap {
    /** An action was put into the queue. */
    queued: CustomEvent<Queued>;
    /** The page shows what waits to be sent. */
    foreseen: Event;
    /** The page was made before something that counts. */
    outdated: Event;
  }

  /** What a selector finds. All that scripts look for is HTML; drawings are looked at by labels. */
  type Found<S extends string> = ParseSelector<S, HTMLElement>;

  interface ParentNode {
    querySelector<S extends string>(selector: S): Found<S> | null;
    querySelectorAll<S extends string>(selector: S): NodeListOf<Found<S>>;
  }

  interface Element {
    closest<S extends string>(selector: S): Found<S> | null;
  }

  interface DOMStringMap {
    // Every page: a part that is asked for again (core/poll.js), a field with a pad.
    poll?: string;
    every?: string;
    tag?: string;
    pad?: string;

    // A form of the class `act`, and its inputs (act.js).
    job?: string;
    kind?: string;
    says?: string;
    raises?: string;
    urgent?: string;
    time?: string;
    then?: string;
    busy?: string;
    type?: string;

    // A car and what is on its page (foresee.js keeps what each was as `first…`).
    car?: string;
    version?: string;
    stage?: string;
    arrived?: string;
    held?: string;
    danger?: string;
    over?: string;
    cures?: string;
    walkedOut?: string;
    boardCar?: string;
    stamp?: string;
    from?: string;
    to?: string;
    state?: string;
    startedAt?: string;
    mine?: string;
    told?: string;
    found?: string;
    level?: string;
    cautionOf?: string;
    waiting?: string;
    released?: string;
    findingOver?: string;
    dangerLine?: string;
    foreseenStop?: string;

    // Clocks that run on it (car.js, waits.js).
    ends?: string;
    full?: string;
    left?: string;
    percent?: string;
    until?: string;

    // A finding, paint, and the air (finding.js, paint.js, climate.js).
    chosen?: string;
    digit?: string;
    film?: string;
    highest?: string;
    kinds?: string;
    least?: string;
    lowest?: string;
    material?: string;
    of?: string;
    step?: string;
    stepPart?: string;
    toStep?: string;
    weight?: string;

    // What waits, and what can be undone (panel.js, undo.js).
    key?: string;
    shown?: string;
    sure?: string;
    undo?: string;
  }
}
