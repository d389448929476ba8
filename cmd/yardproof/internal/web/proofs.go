package web

import (
	"cmp"
	"errors"
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"syscall"

	"yardproof/cmd/yardproof/internal/light"
	"yardproof/cmd/yardproof/internal/record"
	"yardproof/cmd/yardproof/internal/session"
	"yardproof/config"
	"yardproof/patterns"
)

// hangs returns the label of the physical string that hangs in a string's place:
// the spare's that was noted last, else the plan's.
func (s *Server) hangs(str *config.String) string {
	return cmp.Or(s.cfg.Record.Spare(str.Name), str.Label)
}

// postProofs keeps a proof. The server adds the time, the label, and what was
// shown and expected at that moment; the answer is the line as it is on disk.
func (s *Server) postProofs(w http.ResponseWriter, r *http.Request) error {
	var in struct {
		String   string           `json:"string"`
		Verdict  string           `json:"verdict"`
		Stage    string           `json:"stage"`
		Note     string           `json:"note"`
		Seen     string           `json:"seen"`
		LastLit  *int             `json:"last_lit"`
		Readings []record.Reading `json:"readings"`
		Meter    string           `json:"meter"` // its error, as diagnose takes it; "": the plan's
		Once     string           `json:"once"`
		Tag      string           `json:"tag"`   // on the bench: which string hangs there
		Again    bool             `json:"again"` // on the bench: a tag that is on record is meant
	}
	if done, err := s.read(w, r, &in, &in.Once, record.Proof); done || err != nil {
		return err
	}
	now := s.cfg.Session.Snapshot()
	str := now.Plan.Find(in.String)
	if str == nil {
		return noString(in.String)
	}
	if in.LastLit != nil && *in.LastLit > str.Pixels {
		return problemf(http.StatusBadRequest, "The last good pixel of %[2]s is 0 to %[1]d.", str.Pixels, str.Name)
	}
	supply := map[string]float64{} // volts measured there, by while: the rest is expected from them, not from the nominal ones
	for _, r := range in.Readings {
		if r.Quantity == "volts" && (r.At == "" || r.At == "supply") {
			supply[r.While] = r.Value
		}
	}
	meter := now.Plan.Meter
	if in.Meter != "" {
		var err error
		if meter, err = config.ParseMeter(in.Meter, "A"); err != nil {
			return problemf(http.StatusBadRequest, "%s.", sentence(err))
		}
	}
	for i := range in.Readings {
		if err := s.stamp(now, str, &in.Readings[i], supply[in.Readings[i].While], meter); err != nil {
			return err
		}
	}
	line := record.Line{
		Kind: record.Proof, Plan: now.Plan.Name, String: str.Name, Label: s.hangs(str), Stage: record.Stage(in.Stage),
		Verdict: record.Verdict(in.Verdict), Note: in.Note, Seen: in.Seen, LastLit: in.LastLit, Readings: in.Readings, Once: in.Once,
	}
	if s.cfg.Bench == nil && in.Tag != "" {
		return problemf(http.StatusBadRequest, "A tag goes with a proof on the bench only; elsewhere the plan and the record know it.")
	}
	if s.cfg.Bench != nil {
		if err := s.onBench(&line, in.Tag, in.Again); err != nil {
			return err
		}
	}
	return s.appendLine(w, now, line)
}

// postReplacements notes that a spare hangs in a string's place: it starts unproved.
func (s *Server) postReplacements(w http.ResponseWriter, r *http.Request) error {
	var in struct {
		String string `json:"string"`
		Label  string `json:"label"`
		Stage  string `json:"stage"`
		Once   string `json:"once"`
	}
	if done, err := s.read(w, r, &in, &in.Once, record.Replaced); done || err != nil {
		return err
	}
	now := s.cfg.Session.Snapshot()
	if now.Plan.Find(in.String) == nil {
		return noString(in.String)
	}
	label := strings.TrimSpace(in.Label)
	if label == "" {
		return problemf(http.StatusBadRequest, "Type what the spare's tag says.")
	}
	for _, str := range now.Plan.Strings { // a tag is one physical string
		if strings.EqualFold(strings.TrimSpace(s.hangs(str)), label) {
			return problemf(http.StatusConflict, "Tag %s hangs as string %d, %s. Check the tag. If the spare came from there, record first what hangs there now.", label, str.Number(), str.Name)
		}
	}
	return s.appendLine(w, now, record.Line{Kind: record.Replaced, Plan: now.Plan.Name, String: in.String, Label: label, Stage: record.Stage(in.Stage), Once: in.Once})
}

// postNotes keeps words, about a string or about the yard.
func (s *Server) postNotes(w http.ResponseWriter, r *http.Request) error {
	var in struct {
		String string `json:"string"`
		Stage  string `json:"stage"`
		Note   string `json:"note"`
		Mended string `json:"mended"` // the cause that was put right, as /api/diagnose has it in mends
		Once   string `json:"once"`
	}
	if done, err := s.read(w, r, &in, &in.Once, record.Note); done || err != nil {
		return err
	}
	now := s.cfg.Session.Snapshot()
	line := record.Line{Kind: record.Note, Plan: now.Plan.Name, String: in.String, Stage: record.Stage(in.Stage), Note: in.Note, Once: in.Once}
	if in.String != "" {
		str := now.Plan.Find(in.String)
		if str == nil {
			return noString(in.String)
		}
		line.Label = s.hangs(str)
	}
	if strings.TrimSpace(in.Note) == "" {
		return problemf(http.StatusBadRequest, "The note is empty.")
	}
	if in.Mended != "" {
		if !strings.HasPrefix(in.Mended, record.MendedWord) || in.String == "" {
			return problemf(http.StatusBadRequest, "What was put right is written as in %sbroken-data@41, and of a string.", record.MendedWord)
		}
		line.Seen = in.Mended
	}
	return s.appendLine(w, now, line)
}

// postInspection keeps that somebody looked: at the display, or in a cable check at
// what a controller does when its data stops.
func (s *Server) postInspection(w http.ResponseWriter, r *http.Request) error {
	var in struct {
		Controller string `json:"controller"`
		Seen       string `json:"seen"`
		Note       string `json:"note"`
		Once       string `json:"once"`
	}
	if done, err := s.read(w, r, &in, &in.Once, record.Inspection); done || err != nil {
		return err
	}
	now := s.cfg.Session.Snapshot()
	if in.Controller != "" && !slices.ContainsFunc(now.Plan.Controllers, func(c *config.Controller) bool { return c.Name == in.Controller }) {
		return problemf(http.StatusBadRequest, "The plan has no controller %q.", in.Controller)
	}
	if strings.TrimSpace(in.Seen) == "" {
		return problemf(http.StatusBadRequest, "Nothing is said of what was seen.")
	}
	if in.Controller == "" && s.cfg.Looked != nil { // a programme counts looks, and records them
		if err := s.cfg.Looked(strings.TrimSpace(in.Seen+" "+in.Note), in.Once); err != nil {
			return notKept(err)
		}
		w.WriteHeader(http.StatusNoContent)
		return nil
	}
	return s.appendLine(w, now, record.Line{Kind: record.Inspection, Plan: now.Plan.Name, Controller: in.Controller, Seen: in.Seen, Note: in.Note, Once: in.Once})
}

// read reads the body of a line for the record. Done means that the line was sent
// before, and that the answer of then has been given again: a phone that was not
// answered asks again, and what was good then need not pass once more.
func (s *Server) read(w http.ResponseWriter, r *http.Request, in any, once *string, kind record.Kind) (done bool, err error) {
	if err := readJSON(w, r, in); err != nil {
		return false, err
	}
	first, err := s.cfg.Record.Again(*once)
	switch {
	case err != nil:
		return false, notKept(err)
	case first == nil:
		return false, nil
	case first.Kind != kind:
		return false, problemf(http.StatusBadRequest, "The word %q belongs to another line.", *once)
	}
	return true, writeJSON(w, http.StatusOK, first)
}

// appendLine puts a line on disk and answers with it. What could not be kept is said.
func (s *Server) appendLine(w http.ResponseWriter, now session.Snapshot, l record.Line) error {
	show := now.Shown
	l.Pattern, l.LevelPercent = show.Pattern.Name, new(percent(show.Level))
	kept, err := s.cfg.Record.Append(l)
	switch {
	case errors.Is(err, record.ErrAgain): // by another request at the same moment
		return writeJSON(w, http.StatusOK, kept)
	case err != nil:
		return notKept(err)
	}
	return writeJSON(w, http.StatusCreated, kept)
}

func notKept(err error) error {
	switch {
	case errors.Is(err, record.ErrLine):
		return problemf(http.StatusBadRequest, "%s.", sentence(err))
	case errors.Is(err, syscall.ENOSPC):
		return problemf(http.StatusInsufficientStorage, "Not saved: the disk of the laptop is full. Make room and tap again.")
	}
	return problemf(http.StatusServiceUnavailable, "Not saved: %v.", err)
}

func noString(name string) error {
	return problemf(http.StatusBadRequest, "The plan has no string %q.", name)
}

// stamp writes beside a reading what was shown and what was expected of it, from
// the volts measured at the supply, 0: not measured, within the error of the meter.
func (s *Server) stamp(now session.Snapshot, str *config.String, r *record.Reading, supply float64, meter config.Meter) error {
	r.Pattern, r.LevelPercent, r.Count, r.Expected, r.Least, r.Most = "", nil, 0, nil, nil, nil
	feed := 0
	if r.Feed != "" {
		if feed = slices.IndexFunc(str.Feeds, func(f *config.Feed) bool { return f.At == r.Feed }); feed < 0 {
			return problemf(http.StatusBadRequest, "%s has no feed %q.", str.Name, r.Feed)
		}
	}
	pixel, err := place(r.At, str.Pixels)
	if err != nil {
		return err
	}
	lit, ok := s.litWhile(now.Shown, str.Name, r.While)
	if !ok {
		return nil
	}
	r.Pattern, r.LevelPercent, r.Count = lit.Pattern, new(percent(lit.Level)), lit.Options.Count
	if math.Abs(supply-str.Volts) > 0.1*str.Volts { // not measured, or another fault altogether
		supply = 0
	}
	e, ok := light.Expected(now.Budget, str, lit, supply)
	if !ok || swings(lit.Pattern) {
		return nil
	}
	switch {
	case r.Quantity == "amps" && feed < len(e.Feeds):
		r.Expected = &e.Feeds[feed]
		if e.Least != nil {
			give := meter.Error(r.Value)
			r.Least, r.Most = new(max(0, e.Least.Feeds[feed]-give)), new(e.Most.Feeds[feed]+give)
		}
	case r.Quantity == "volts" && pixel == 0:
		r.Expected = &str.Volts
	case r.Quantity == "volts" && pixel <= len(e.Volts):
		r.Expected = &e.Volts[pixel-1]
	}
	return nil
}

// litWhile is what a string showed while it was measured: full-white as it is now,
// or was last, for white. False: it was not white since the program began, as far
// as is known here.
func (s *Server) litWhile(show session.Shown, name, while string) (light.Lit, bool) {
	lit := show.Lights(name)
	switch {
	case while == record.WhileWhite && !(lit && show.Pattern.Load):
		white, ok := s.whites.of(name)
		return litAs(white), ok
	case while == record.WhileDark || !lit:
		return light.Lit{Pattern: patterns.Dark}, true
	}
	return litAs(show), true
}

// place reads where something was measured: "supply" is 0, "pixel N" is N.
func place(at string, pixels int) (int, error) {
	if at == "" || at == "supply" {
		return 0, nil
	}
	text, ok := strings.CutPrefix(at, "pixel ")
	n, err := strconv.Atoi(text)
	if !ok || err != nil || n < 1 || n > pixels {
		return 0, problemf(http.StatusBadRequest, "A reading is taken at supply, or at pixel 1 to %d, not at %.40q.", pixels, at)
	}
	return n, nil
}
