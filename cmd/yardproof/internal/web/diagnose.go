package web

import (
	"errors"
	"net/http"
	"slices"
	"strings"

	"yardproof/cmd/yardproof/internal/diagnose"
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

	Feed     string    `json:"feed"`
	Amps     *float64  `json:"amps"`
	DarkAmps *float64  `json:"dark_amps"`
	Volts    []voltsAt `json:"volts"`
	Batches  bool      `json:"batches"` // what the record's readings say of amps_per_pixel
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
}

// postDiagnose answers as the command line does, by the same code.
func (s *Server) postDiagnose(w http.ResponseWriter, r *http.Request) error {
	var in asked
	if err := readJSON(w, r, &in); err != nil {
		return err
	}
	plan, b := s.cfg.Session.Plan()
	var str *config.String
	if in.String != "" {
		if str = find(plan, in.String); str == nil {
			return noString(in.String)
		}
	}
	out, err := s.diagnose(in, plan, b, str)
	var input *diagnose.InputError
	if errors.As(err, &input) {
		return problemf(http.StatusBadRequest, "%s.", sentence(err))
	}
	if err != nil {
		return err
	}
	return writeJSON(w, http.StatusOK, out)
}

func (s *Server) diagnose(in asked, plan *config.Plan, b *budget.Budget, str *config.String) (out told, err error) {
	switch {
	case in.Answered != nil:
		out.Answer, err = diagnose.Answered(plan, in.Answered)
		return out, err
	case in.Dark != nil:
		out.Shared, out.Answer, err = diagnose.Shared(plan, in.Dark)
		return out, err
	case in.Batches:
		m, err := meterOr(in.Meter, diagnose.AssumedClamp)
		if err != nil {
			return out, err
		}
		out.Batches = diagnose.Batches(plan, b, s.cfg.Record.Lines(), m)
		out.Answer = diagnose.BatchAnswer(out.Batches)
		return out, nil
	case str == nil:
		return out, problemf(http.StatusBadRequest, "This question is about a string: name it.")
	}
	order := diagnose.OrderLook{PortSet: strings.ToUpper(in.PortSet), PlanOrder: string(str.Order), WhiteDerived: str.WhiteDerived}
	if order.PortSet == "" {
		order.PortSet = string(str.PortOrder)
	}
	switch {
	case in.Seen != "":
		if order.Seen, err = diagnose.ParseSeen(in.Seen); err == nil {
			out.Answer, err = diagnose.Order(order)
		}
	case in.Runs != "":
		out.Answer, err = diagnose.LookAtRuns(in.Runs, order)
	case in.LastLit != nil:
		out.Answer, err = diagnose.LastLit(plan, str, *in.LastLit, str.Pixels, diagnose.Tail(in.Tail))
	case in.Half != nil:
		search := *in.Half
		if search == (diagnose.Search{}) {
			search = diagnose.NewSearch(str.Pixels)
		}
		if in.Lit != nil {
			search = search.Saw(in.Pixel, *in.Lit)
		}
		out.Search, out.Next, out.Steps = &search, search.Next(), search.Steps()
		out.Answer, err = search.Answer(str.Pixels)
	case in.Amps != nil:
		out.Answer, err = s.amps(in, b, str)
	case len(in.Volts) > 0:
		out.Answer, err = s.volts(in, b, str)
	default:
		err = problemf(http.StatusBadRequest, "Nothing was asked.")
	}
	return out, err
}

// amps judges a current against what was expected while the string was white
// last, or of what is shown now.
func (s *Server) amps(in asked, b *budget.Budget, str *config.String) (diagnose.Answer, error) {
	feed := slices.IndexFunc(str.Feeds, func(f *config.Feed) bool { return in.Feed == "" || f.At == in.Feed })
	if feed < 0 {
		return diagnose.Answer{}, problemf(http.StatusBadRequest, "%s has no feed %q.", str.Name, in.Feed)
	}
	m, err := meterOr(in.Meter, diagnose.AssumedClamp)
	if err != nil {
		return diagnose.Answer{}, err
	}
	lit := s.litWhile(str.Name, "white")
	white, ok1 := diagnose.Expected(b, str, lit, 0)
	dark, ok2 := diagnose.Expected(b, str, diagnose.Lit{Pattern: "dark"}, 0)
	if !ok1 || !ok2 {
		return diagnose.Answer{}, problemf(http.StatusConflict, "The plan does not say enough about %s to expect a current; yardproof plan says what is missing.", str.Name)
	}
	a := diagnose.Amps{
		Read: *in.Amps, Dark: in.DarkAmps, Expected: white.Feeds[feed], ExpectedDark: dark.Feeds[feed], Meter: m,
		Feed: str.Feeds[feed].At + " of " + str.Name,
	}
	pixels := str.Pixels
	if c := lit.Options.Count; c > 0 {
		pixels = min(c, pixels)
	}
	a.PerPixel = (white.Amps - dark.Amps) / float64(pixels)
	if lit.Pattern == "full-white" && lit.Level == 1 && str.Dimmed == 1 {
		a.Planned = b.Strings[str.Index].Chip.AmpsPerPixel
	}
	return a.Answer()
}

func (s *Server) volts(in asked, b *budget.Budget, str *config.String) (diagnose.Answer, error) {
	m, err := meterOr(in.Meter, diagnose.AssumedVolts)
	if err != nil {
		return diagnose.Answer{}, err
	}
	var points []budget.Point
	supply := 0.0
	for _, v := range in.Volts {
		pixel, err := place(v.At, str.Pixels)
		if err != nil {
			return diagnose.Answer{}, err
		}
		if pixel == 0 {
			supply = v.Volts
		}
		points = append(points, budget.Point{Pixel: pixel, Volts: v.Volts})
	}
	e, ok := diagnose.Expected(b, str, s.litWhile(str.Name, "white"), supply)
	if !ok || e.Volts == nil {
		return diagnose.Answer{}, problemf(http.StatusConflict, "The plan does not say enough about %s to expect volts; yardproof plan says what is missing.", str.Name)
	}
	return diagnose.Volts(e, points, str.Volts, m)
}

func meterOr(text string, usual diagnose.Meter) (diagnose.Meter, error) {
	if text == "" {
		return usual, nil
	}
	return diagnose.ParseMeter(text)
}

// getSymptoms tells the table of symptoms, or the rows that fit a few words.
func (s *Server) getSymptoms(w http.ResponseWriter, r *http.Request) error {
	found := diagnose.FindSymptoms(r.URL.Query().Get("words"))
	if found == nil {
		found = []diagnose.Symptom{}
	}
	return writeJSON(w, http.StatusOK, map[string]any{"symptoms": found, "basis": diagnose.Practice, "caution": diagnose.Caution})
}
