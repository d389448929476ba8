package web

import (
	"bytes"
	"cmp"
	"encoding/json"
	"maps"
	"net/http"
	"slices"
	"strconv"

	"yardproof/cmd/yardproof/internal/record"
)

// maxPage is the octets of proofs after which an answer ends, so that neither a large
// yard nor long notes make one that a phone, or this program's memory, has to swallow whole.
const maxPage = 128 << 10

// getProofs tells the latest proof of each string at each stage, of the physical string
// that hangs there now: those of the strings on which something was recorded after a
// version that the asker knows, the longest ago first, with what the record adds to the
// plan: which label hangs there, and what controllers were seen to do. When there is more than one answer
// holds, the version that it leads to is where to go on.
func (s *Server) getProofs(w http.ResponseWriter, r *http.Request) error {
	after := 0
	if text := r.URL.Query().Get("after"); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil || n < 0 {
			return problemf(http.StatusBadRequest, "after is a record_version, not %.40q.", text)
		}
		after = n
	}
	version := s.cfg.Record.Len() // first: what is recorded meanwhile is told twice, not never
	if after > version {
		after = 0 // of another record
	}
	plan := s.cfg.Session.Snapshot().Plan
	changed := slices.DeleteFunc(record.InPlan(s.cfg.Record.Standings(), plan.Labels()), func(st record.Standing) bool {
		return st.Changed <= after || plan.Find(st.String) == nil
	})
	slices.SortStableFunc(changed, func(a, b record.Standing) int { return cmp.Compare(a.Changed, b.Changed) })
	type hangs struct {
		Name  string `json:"name"`
		Label string `json:"label"`
	}
	type inspected struct {
		Name string `json:"name"`
		Seen string `json:"seen"`
	}
	strings, controllers := []hangs{}, []inspected{}
	lines, more := bytes.NewBufferString("["), false
	for i, st := range changed {
		if lines.Len() > maxPage && st.Changed > changed[i-1].Changed {
			version, more = changed[i-1].Changed, true
			break
		}
		strings = append(strings, hangs{st.String, s.hangs(plan.Find(st.String))})
		for _, line := range slices.SortedFunc(maps.Values(st.ByStage), func(a, b *record.Line) int {
			return cmp.Or(a.Time.Compare(b.Time), cmp.Compare(a.Stage, b.Stage)) // of one millisecond
		}) {
			l := *line
			l.String = st.String
			text, err := json.Marshal(l)
			if err != nil {
				return err
			}
			if lines.Len() > 1 {
				lines.WriteByte(',')
			}
			lines.Write(text)
		}
	}
	lines.WriteByte(']')
	for _, c := range plan.Controllers {
		if seen, changed := s.cableCheck(c.Name); changed > after {
			controllers = append(controllers, inspected{c.Name, seen})
		}
	}
	return writeJSON(w, http.StatusOK, map[string]any{
		"after": after, "record_version": version, "more": more, "strings": strings, "controllers": controllers, "proofs": json.RawMessage(lines.Bytes()),
	})
}
