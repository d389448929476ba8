package web

import (
	"fmt"
	"io"
)

// An entry of the API's reference. The test holds it against the routes.
type entry struct{ request, takes, gives string }

var reference = []entry{
	{"POST /api/session", `{"token"}`, "A cookie, good for 60 days. The token is that of a link, good once and for ten minutes."},
	{"POST /api/links", "name (none: a number)", "A link and its QR code for one more phone."},
	{"GET /api/phones", "", "phones: name, since, last_seen, this (the one that asks)."},
	{"POST /api/phones/revoke", "name", "The phones that are left. What the phone has open ends at once; 404 when there is none of this name."},
	{"GET /api/plan", "", "The strings, controllers and patterns."},
	{"GET /api/state", "?string=NAME", "showing (pattern, strings, level_percent: the target after caps, level_now_percent, capped_by, falls_back), hold (by, since, dark, goes_dark; null: nobody holds), health, viewed (looks, meter, white_count), programme, plan_version, rehearsal (nothing is real)."},
	{"GET /api/events", "?string=NAME", "Server-sent events: state, and frame (string, slots in base 64)."},
	{"GET /api/health", "", "The last five minutes of sending."},
	{"POST /api/show", "pattern, strings (none: all), level_percent (30 when left out), pixel, slot, count, first and last (of a block), hold_seconds (0-60)", "What is shown now. Above a cap it answers 200 with the capped level; 409 while dark is held."},
	{"POST /api/dark", "{}", "What is shown now: dark, and held: nothing lights until a person lifts the hold, a restart included. hold.kept false: it is not on disk yet."},
	{"POST /api/resume", "{}", "What is shown now, with the hold lifted. Nothing lights by itself but a programme's own next step."},
	{"GET /api/proofs", "?after=RECORD_VERSION (none: 0)", "strings (name, label) on which something was recorded after that version, proofs: the latest of each of them and stage, and controllers (name, seen) that were looked at since. A long answer ends early: with more true, ask again after the record_version that it gives."},
	{"POST /api/proofs", "string, verdict (good, fault), stage (bench, hung, opening), note, seen, last_lit, readings[] (feed, quantity amps or volts, at supply or pixel N, value, while dark or white), meter (its error, \"3% + 0.1 A\"; else the plan's), once; on the bench tag, and again for a tag that is on record", "201 when it is on disk. Time, label, pattern, level and expectation are stamped by the server. once is a word of yours, up to 64 letters, digits and hyphens: what is sent again with it is not recorded again, and is answered 200 with the first."},
	{"POST /api/replacements", "string, label, once", "201 when it is on disk."},
	{"POST /api/notes", "string, note, once, mended (what was put right, of mends in an answer of /api/diagnose)", "201 when it is on disk."},
	{"POST /api/looks", "controller and seen (what it did when data stopped), or seen; once", "201 when it is on disk."},
	{"GET /api/bench", "", "The batch on the bench: strings (tag, verdict, amps, stands_apart), median, low, high, next_tag; 404 where there is no bench."},
	{"POST /api/diagnose", "string, and one of: seen; runs (port_set); last_lit (tail); half {good, dark}; amps (feed, dark_amps); volts [{at, volts}]; answered {lit: seen}; dark [names]; batches true; scan [{first, last, value}] (empty begins). meter with any", "Causes in order, and what to do next; for a scan the next block to light."},
	{"POST /api/film", "also (the id of a film that was read, from another side of the same yard)", "201: id of a film that comes. One at a time: 409 while another is read. Its frames stay in memory, until it is read or a minute goes by without one."},
	{"POST /api/film/frames", "?film=ID, a JPEG, at most 4 MB, and the header Shown-At: when it is shown in the film, in seconds", "204. Frames closer than 45 ms are left out; 422 ends the film and says why."},
	{"POST /api/film/read", "film", "202: the film has come to its end, and is read."},
	{"GET /api/film", "?film=ID", "is (coming, reading, read, failed), frames, done and of (steps), problem; then strings (name, is: wrong, part or good, seen, pixels, findings, says) and pixels (string, pixel, x, y, film: index of its side, verdict, confidence), sides (width and height of the picture in which places are), lines on record."},
	{"GET /api/film/still/{side}", "?film=ID; sides count from 0", "The picture, as JPEG, with every pixel marked."},
	{"POST /api/film/proofs", "film, stage (hung, opening), picture (true: it is kept too)", "201: what was seen of each string is on disk, once, and where each pixel is."},
	{"POST /api/film/cancel", "film", "204: nothing is left of it."},
	{"POST /api/proposal", "level_percent (100 when left out), lose_a_feed", "Where the plan's strings should be fed, as plan --propose has it: a line of JSON each second, is (looking, done, failed), says, problem; the last one has the proposal. One at a time: 409 while another is worked out. It ends after half a minute with what it has by then, and when you go away."},
	{"GET /api/places", "?string=NAME", "Where its pixels were seen by the films on record: sides (called, width, height) and pixels as above; 404 before the first film."},
	{"GET /api/places/{side}", "?string=NAME; sides count from 0", "That drawn, as JPEG: in the picture if it was kept, else on black."},
	{"GET /api/symptoms", "?words=", "The symptom table, or the rows that have the words."},
	{"GET /metrics", "", "Prometheus metrics. --metrics-open opens them to everybody."},
	{"GET /last-day", "", "A page that draws the last 24 hours."},
	{"GET /opening", "", "Go or no-go: the sheet for opening night, for a phone and for paper."},
	{"GET /opening.css", "", "The style of that sheet."},
	{"GET /healthz", "", "ok, while the program answers."},
	{"GET /readyz", "", "ready, once frames go out; else 503 and why."},
}

// WriteReference writes what each request takes and gives.
func WriteReference(w io.Writer) {
	fmt.Fprint(w, "The API that the page uses. Bodies are application/json of at most 16 KiB; unknown keys are refused, in a query too.\n"+
		"Errors are problem documents (RFC 9457). On loopback nothing more is needed; elsewhere the cookie of POST /api/session.\n")
	for _, e := range reference {
		fmt.Fprintf(w, "\n%s\n", e.request)
		if e.takes != "" {
			fmt.Fprintf(w, "  takes  %s\n", e.takes)
		}
		fmt.Fprintf(w, "  gives  %s\n", e.gives)
	}
}
