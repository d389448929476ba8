package web

import (
	"math"
	"net/http"
	"net/netip"
	"sync"
	"time"
	"unicode"
	"unicode/utf8"

	"yardproof/cmd/yardproof/internal/history"
	"yardproof/cmd/yardproof/internal/session"
	"yardproof/config"
	"yardproof/sacn/listener"
)

// state is what GET /api/state answers and what the event stream tells: the one
// picture that every phone sees.
type state struct {
	Time    time.Time       `json:"time"`
	Showing showing         `json:"showing"`
	Hold    *held           `json:"hold"`      // nil: nobody holds
	Health  *history.Sample `json:"health"`    // nil: not measured
	Phones  int64           `json:"phones"`    // with the page open
	Others  []competitor    `json:"competing"` // other sources on universes of ours
	Viewed  *viewed         `json:"viewed"`    // the string that was asked about; nil: none was
	Version string          `json:"version"`

	Rehearsal   bool   `json:"rehearsal"`      // nothing is real
	Programme   string `json:"programme"`      // how far it is; "": there is none
	PlanVersion int64  `json:"plan_version"`   // another number: the plan was read anew
	Recorded    int    `json:"record_version"` // another number: something was put on record
	NoRecord    string `json:"record_problem"` // why nothing can be recorded; "": it can
}

// competitor is another source on a universe of ours.
type competitor struct {
	Universe   uint16              `json:"universe"`
	Name       string              `json:"name"`
	Address    netip.Addr          `json:"address"`
	Priority   uint8               `json:"priority"`
	Precedence listener.Precedence `json:"precedence"` // who wins
	SameCID    bool                `json:"same_cid"`   // with our own CID: a copy of this transmitter
}

type showing struct {
	Pattern   string     `json:"pattern"`
	Strings   []string   `json:"strings"`
	Level     float64    `json:"level_percent"`     // the target, after caps
	LevelNow  float64    `json:"level_now_percent"` // on the way to it
	CappedBy  string     `json:"capped_by"`         // "": nothing
	Pixel     int        `json:"pixel,omitempty"`
	Slot      int        `json:"slot,omitempty"`
	Count     int        `json:"count,omitempty"`
	First     int        `json:"first,omitempty"` // of a block
	Last      int        `json:"last,omitempty"`
	Since     time.Time  `json:"since"`
	FallsBack *time.Time `json:"falls_back"` // when full-white ends by itself
	Change    uint64     `json:"change"`     // counts up with everything that is shown
}

// held is a person's hold, as a phone sees it.
type held struct {
	session.Hold
	Kept *bool `json:"kept,omitempty"` // in the answer to dark: whether it is on disk
}

// state tells of one moment, and of one string by name.
func (s *Server) state(now session.Snapshot, view string) state {
	show := now.Shown
	st := state{
		Time: time.Now().UTC(),
		Showing: showing{
			Pattern: show.Pattern.Name, Strings: show.Strings,
			Level: percent(show.Level), LevelNow: percent(show.LevelNow), CappedBy: show.CappedBy,
			Pixel: show.Options.Pixel, Slot: show.Options.Slot, Count: show.Options.Count, First: show.Options.First, Last: show.Options.Last,
			Since: show.Since.UTC(), Change: show.Change,
		},
		Phones:  s.streams.Load(),
		Viewed:  s.view(now, view),
		Version: s.cfg.Version,

		Rehearsal:   s.cfg.Rehearsal != nil,
		PlanVersion: s.plans.version(now.Plan),
		Recorded:    s.cfg.Record.Len(),
		Others:      s.competing(now.Plan, view),
	}
	if err := s.cfg.Record.Problem(); err != nil {
		st.NoRecord = sentence(err) + "."
	}
	if now.Hold != nil {
		st.Hold = &held{Hold: *now.Hold}
	}
	if s.cfg.Says != nil {
		st.Programme = s.cfg.Says()
	}
	if !show.FallsBack.IsZero() {
		st.Showing.FallsBack = new(show.FallsBack.UTC())
	}
	if recent := s.health(); len(recent) > 0 {
		st.Health = &recent[len(recent)-1]
	}
	return st
}

// competing are the other sources that are known; those on the universes of the
// string that somebody looks at are looked for without a pause.
func (s *Server) competing(plan *config.Plan, view string) []competitor {
	out := []competitor{}
	if s.cfg.Competing == nil {
		return out
	}
	var wanted []uint16
	if str := plan.Find(view); str != nil {
		for u := str.Universe; u <= lastUniverse(plan, str); u++ {
			wanted = append(wanted, u)
		}
	}
	for _, c := range s.cfg.Competing(wanted) {
		out = append(out, competitor{c.Universe, c.Name, c.Address, c.Priority, c.Precedence, c.SameCID})
	}
	return out
}

// versions counts plans.
type versions struct {
	mu   sync.Mutex
	plan *config.Plan
	n    int64
}

func (v *versions) version(plan *config.Plan) int64 {
	v.mu.Lock()
	defer v.mu.Unlock()
	if v.plan != plan {
		v.plan = plan
		v.n++
	}
	return v.n
}

// percent rounds down to a tenth, so that no level is told lower than a cap and
// shown above it.
func percent(level float64) float64 { return math.Floor(level*1000+1e-6) / 10 }

func (s *Server) health() []history.Sample {
	if s.cfg.Health == nil {
		return nil
	}
	return s.cfg.Health()
}

func (s *Server) getState(w http.ResponseWriter, r *http.Request) error {
	return writeJSON(w, http.StatusOK, s.state(s.cfg.Session.Snapshot(), r.URL.Query().Get("string")))
}

func (s *Server) getHealth(w http.ResponseWriter, _ *http.Request) error {
	samples := s.health()
	if samples == nil {
		samples = []history.Sample{}
	}
	return writeJSON(w, http.StatusOK, map[string]any{"samples": samples})
}

// sentence makes an error's text begin like one.
func sentence(err error) string {
	text := err.Error()
	r, n := utf8.DecodeRuneInString(text)
	return string(unicode.ToUpper(r)) + text[n:]
}
