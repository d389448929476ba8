package web

import (
	"errors"
	"net/http"

	"yardproof/cmd/yardproof/internal/diagnose"
	"yardproof/cmd/yardproof/internal/diagnose/scan"
	"yardproof/cmd/yardproof/internal/record"
	"yardproof/cmd/yardproof/internal/session"
	"yardproof/config"
	"yardproof/config/budget"
)

// asked is a question to diagnose: what was seen or read, one of the kinds below.
type asked struct {
	String string `json:"string"`
	Meter  string `json:"meter"` // its error, "3% + 0.10 A"; "": the usual

	Seen    string `json:"seen"`     // colours of slots 1, 2, 3 (and 4)
	Runs    string `json:"runs"`     // colour-order pixel by pixel
	PortSet string `json:"port_set"` // the order on the port now

	LastLit *int   `json:"last_lit"`
	Tail    string `json:"tail"`

	Half  *diagnose.Search `json:"half"` // so far; null bounds begin anew
	Pixel int              `json:"pixel"`
	Lit   *bool            `json:"lit"` // whether that pixel was seen white

	Answered map[string]string `json:"answered"` // asked to light: seen
	Dark     []string          `json:"dark"`     // strings that are

	Feed     string         `json:"feed"`
	Amps     *float64       `json:"amps"`
	DarkAmps *float64       `json:"dark_amps"`
	Volts    []voltsAt      `json:"volts"`
	Scan     []scan.Reading `json:"scan"`    // of blocks so far, for a bad joint; empty begins
	Looks    []string       `json:"looks"`   // all at one string so far, as weighed tells how to write them; empty begins
	Batches  bool           `json:"batches"` // what the record's readings say of amps_per_pixel
}

type voltsAt struct {
	At    string  `json:"at"` // supply, pixel N
	Volts float64 `json:"volts"`
}

// told is the answer; search comes with half, shared with dark.
type told struct {
	Answer  diagnose.Answer   `json:"answer"`
	Search  *diagnose.Search  `json:"search,omitempty"`
	Next    int               `json:"next_pixel,omitempty"`
	Steps   int               `json:"steps,omitempty"` // more looks at most
	Shared  []diagnose.Common `json:"shared,omitempty"`
	Batches []diagnose.Batch  `json:"batches,omitempty"`
	Scan    *diagnose.Scan    `json:"scan,omitempty"`
	Weighed *diagnose.Weighed `json:"weighed,omitempty"`
}

// postDiagnose answers as the command line does, by the same code.
func (s *Server) postDiagnose(w http.ResponseWriter, r *http.Request, in asked) error {
	now := s.cfg.Session.Snapshot()
	var str *config.String
	if in.String != "" {
		if str = now.Plan.Find(in.String); str == nil {
			return noString(in.String)
		}
	}
	out, err := s.diagnose(in, now, str)
	if _, ok := errors.AsType[*diagnose.InputError](err); ok {
		return problemf(http.StatusBadRequest, "%s.", sentence(err))
	}
	if err != nil {
		return err
	}
	return writeJSON(w, http.StatusOK, out)
}

func (s *Server) diagnose(in asked, now session.Snapshot, str *config.String) (out told, err error) {
	q := diagnose.Question{
		String: in.String, Meter: in.Meter, Seen: in.Seen, Runs: in.Runs, PortSet: in.PortSet, LastLit: in.LastLit, Tail: diagnose.Tail(in.Tail),
		Answered: in.Answered, Dark: in.Dark, Batch: in.Batches, Feed: in.Feed, Amps: in.Amps, DarkAmps: in.DarkAmps, Scan: in.Scan, Looks: in.Looks,
	}
	if str == nil && in.Answered == nil && in.Dark == nil && !in.Batches {
		return out, problemf(http.StatusBadRequest, "This question is about a string: name it.")
	}
	if str != nil {
		lit, ok := s.litWhile(now.Shown, str.Name, record.WhileWhite) // as it is white, or was last, or what is shown now
		if !ok {
			lit, _ = s.litWhile(now.Shown, str.Name, "")
		}
		q.Lit = &lit
		if in.Half != nil {
			q.Half = in.Half
			if *q.Half == (diagnose.Search{}) {
				*q.Half = diagnose.NewSearch(str.Pixels)
			}
			if in.Lit != nil {
				*q.Half = q.Half.Saw(in.Pixel, *in.Lit)
			}
			out.Steps = q.Half.Steps()
		}
		for _, v := range in.Volts {
			pixel, err := place(v.At, str.Pixels)
			if err != nil {
				return out, err
			}
			q.Volts = append(q.Volts, budget.Point{Pixel: pixel, Volts: v.Volts})
		}
	}
	got, err := diagnose.Yard{Plan: now.Plan, Budget: now.Budget, Lines: s.cfg.Record.Whites(), Mends: s.cfg.Record.Mends()}.Ask(q)
	switch {
	case err != nil:
		return out, err
	case got.Answer == nil:
		return out, problemf(http.StatusBadRequest, "Nothing was asked.")
	}
	out.Answer, out.Search, out.Next, out.Shared, out.Batches, out.Scan, out.Weighed = *got.Answer, got.Search, got.Next, got.Shared, got.Batches, got.Scan, got.Weighed
	return out, nil
}

// getSymptoms tells the table of symptoms, or the rows that fit a few words.
func (s *Server) getSymptoms(w http.ResponseWriter, r *http.Request) error {
	found := diagnose.FindSymptoms(r.URL.Query().Get("words"))
	if found == nil {
		found = []diagnose.Symptom{}
	}
	return writeJSON(w, http.StatusOK, map[string]any{"symptoms": found, "basis": diagnose.Practice, "caution": diagnose.Caution})
}
