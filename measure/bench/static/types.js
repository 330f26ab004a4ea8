// What the bench program answers with, and the shapes that modules hand to each other: for the type check alone.

/** @typedef {[number, number]} Point x and y, in pixels of the picture or of the screen */
/** @typedef {[number, number, number, number]} Box left, top, right, bottom */

/**
 * @typedef {object} Feature a line, arc, circle or curve of the outline
 * @property {string} label
 * @property {string} kind
 * @property {number} loop 0 is the outer boundary
 * @property {string} origin "seen", "completed", or "broken" where a break stays open
 * @property {string} path SVG path data in pixels of the picture
 */

/**
 * @typedef {object} Dimension
 * @property {string} kind
 * @property {string[]} features
 * @property {number} value_mm
 * @property {number} u95_mm
 * @property {string} basis "photo", "caliper" or "both"
 * @property {string} [words]
 * @property {string} [figures] value and uncertainty, rounded by the uncertainty
 */

/** @typedef {{ path: string, hidden: boolean }} Jaw a jaw of the caliper over the picture; the part may hide it */

/**
 * @typedef {object} Reading
 * @property {string} key stays while others come and go
 * @property {string} kind
 * @property {string[]} features
 * @property {number} value_mm
 * @property {string} written the value as it was entered
 * @property {string} unit "mm" or "in"
 * @property {string} tool
 * @property {number | null} residual_mm
 * @property {"kept" | "suspect"} verdict
 * @property {string | null} reason of a suspect; of one that is kept, why nothing checks it
 * @property {string | null} likely
 * @property {string | null} advice where the reason has none
 * @property {Jaw[]} [jaws] where it was taken
 */

/**
 * @typedef {object} Break where the part is broken, and what was filled in there
 * @property {string} broken first and last broken label
 * @property {"mirror" | "turn" | "extend" | "hand" | "open"} by
 * @property {string} words
 * @property {boolean} kept whether somebody has looked at it and keeps it
 */

/** @typedef {{ broken: string, plain: boolean, words: string, features: string[] }} Asked */
/** @typedef {{ part: Point[][], away: Point[][] }} PaintedStrokes */
/** @typedef {{ code: string, text: string }} Said a caution or a refusal */
/** @typedef {{ step: string, share: number }} Progress */
/** @typedef {{ words: string, kind: string, features: string[], jaws?: Jaw[] }} Suggestion the reading to take next */
/** @typedef {{ name: string, url: string }} Download a file to be downloaded */
/** @typedef {{ n: number, at: string | number, words: string, files: Download[] }} Revision a drawing that was kept */
/**
 * @typedef {object} Offer a reading that is possible
 * @property {string} kind
 * @property {string[] | null} features
 * @property {string} words
 * @property {number | null} u95_mm as it is known now
 * @property {Jaw[]} [jaws] where they go
 */
/** @typedef {{ url: string | null, width: number, height: number, blurred?: boolean }} Picture */

/**
 * @typedef {object} Trial what came of what was said of a trial print
 * @property {number} of the drawing that was printed
 * @property {"fit" | "gauge" | "solid" | null} drawn what of it was drawn last
 * @property {number} revision the drawing that answers it
 * @property {{ feature: string, by_mm: number, u95_mm: number }[]} changes
 * @property {{ kind: string, features: string[], before_mm: number, value_mm: number, u95_mm: number }[]} sizes
 */

/**
 * @typedef {object} State a job, whole
 * @property {string} name
 * @property {number} ticket its number, 0 where it has none
 * @property {string} owner
 * @property {string} contact
 * @property {string} note
 * @property {boolean} owner_drawn whether the owner stands in the title block
 * @property {import("./scale.js").Scale} scale what gives the scale, as it was written
 * @property {string[]} further names of photos that are traced together with the first
 * @property {number} begun seconds since 1970, 0 where nobody knows
 * @property {number} revision
 * @property {"waiting" | "tracing" | "refused" | "traced" | "measured"} state
 * @property {Progress | null} progress
 * @property {Said | null} refusal
 * @property {string} subject "part" or "opening"
 * @property {number | null} thickness_mm
 * @property {string} thickness_told by the owner, as written
 * @property {string} rim "unknown", "sharp", "little" or "clear"
 * @property {number} fragments
 * @property {boolean} can_undo
 * @property {PaintedStrokes} strokes
 * @property {Point[] | null} card_corners as given by hand
 * @property {Revision[]} revisions
 * @property {Said[]} cautions
 * @property {Feature[]} features
 * @property {string[]} [broken] the fracture as seen, SVG path data
 * @property {{ upper: string[], lower: string[] }} [edges] of the wall, SVG path data
 * @property {string[]} [stretches] what was not seen of features that go on, SVG path data
 * @property {Dimension[]} dimensions
 * @property {Reading[]} readings
 * @property {Suggestion | null} next
 * @property {{ reach_mm: number, inside_mm: number, tip_mm: number } | null} caliper at hand
 * @property {string | null} stop why no further reading is needed
 * @property {number | null} worst_u95_mm
 * @property {string} worst_words which size that is
 * @property {{ breaks: Break[] } | null} completion
 * @property {Asked[]} asked where it looks broken, to be answered
 * @property {{ said: string, words: string, features: string[] }[]} by_hand what a person decided
 * @property {{ corners: Point[] } | null} card as found
 * @property {Picture | null} photo
 * @property {Trial} [trial]
 */

/** @typedef {{ revision: number, state: State["state"], progress: Progress | null }} News an event of a job's stream */

/**
 * @typedef {object} Pen takes a single pointer while something is painted
 * @property {(at: Point) => void} start
 * @property {(at: Point) => void} move
 * @property {() => void} end
 * @property {() => void} cancel
 */

export {};
