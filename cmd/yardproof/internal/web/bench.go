package web

import (
	"net/http"
	"strings"

	"yardproof/cmd/yardproof/internal/bench"
	"yardproof/cmd/yardproof/internal/record"
	"yardproof/cmd/yardproof/internal/textout"
)

// Bench says that one string after another hangs on one port, each with a tag. The
// batch has the plan's name.
type Bench struct{ FirstTag string }

func (s *Server) getBench(w http.ResponseWriter, _ *http.Request) error {
	if s.cfg.Bench == nil {
		return problemf(http.StatusNotFound, "This is no bench; yardproof bench makes one.")
	}
	plan := s.cfg.Session.Snapshot().Plan
	return writeJSON(w, http.StatusOK, bench.New(plan.Name, s.cfg.Bench.FirstTag, s.cfg.Record.Benches(), plan.Meter))
}

// onBench makes a proof one of the bench: of a tag, in no place of a plan. A tag is one
// physical string: one that is on record is taken only when it is meant.
func (s *Server) onBench(l *record.Line, tag string, again bool) error {
	l.String, l.Label, l.Stage = "", strings.TrimSpace(tag), record.Bench
	if l.Label == "" {
		return problemf(http.StatusBadRequest, "Type the tag of the string.")
	}
	for _, st := range s.cfg.Record.Standings() {
		if !strings.EqualFold(st.Label, l.Label) {
			continue
		}
		if l.Label = st.Label; again {
			return nil
		}
		if st.String != "" {
			return problemf(http.StatusConflict, "Tag %s hangs as %s. Check the tag. Tap again if it is this string.", st.Label, st.String)
		}
		return problemf(http.StatusConflict, "Tag %s is on record: %s, %s. Check the tag. Tap again if it is this string.", st.Label, st.Latest.Verdict, st.Latest.Time.Local().Format(textout.Minutes))
	}
	return nil
}
