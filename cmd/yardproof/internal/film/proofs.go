package film

import (
	"fmt"
	"strings"

	"yardproof/cmd/yardproof/internal/record"
	"yardproof/patterns"
)

// maxNote is how much of what was seen goes into a line of the record.
const maxNote = 1000 // octets

// Proofs are the lines that a film puts on record, one for each string of which
// something was seen. Good is only what was seen as a whole; where nothing is wrong and
// something was not seen, the line is a note: it proves nothing, and says what is left.
// Called is what to call the film: its name and time.
func (r *Result) Proofs(stage record.Stage, called string) (lines []record.Line) {
	for _, s := range r.Summaries() {
		if s.Seen == 0 {
			continue
		}
		l := record.Line{Kind: record.Proof, Plan: r.Plan, String: s.Name, Stage: stage, Pattern: patterns.Code,
			Seen: fmt.Sprintf("%s: %d of %d pixels seen", called, s.Seen, s.Pixels)}
		var what []string
		for _, f := range s.Findings {
			what = append(what, strings.TrimSuffix(f.Says, "."))
		}
		l.Note = short(strings.Join(append(what, s.Lines()...), "; "), maxNote)
		switch {
		case s.Good():
			l.Verdict = record.Good
		case s.Wrong():
			l.Verdict = record.Fault
		default:
			l.Kind, l.Note = record.Note, "nothing wrong is seen; "+l.Note
		}
		lines = append(lines, l)
	}
	return lines
}

func short(text string, most int) string {
	if len(text) <= most {
		return text
	}
	return strings.ToValidUTF8(text[:most], "") + " …"
}
