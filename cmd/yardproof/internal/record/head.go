package record

import (
	"bytes"
	"encoding/json"
	"slices"
	"unicode/utf8"
)

// head is what of a line decides where a string stands.
type head struct {
	kind    Kind
	stage   Stage
	verdict Verdict
	white   bool // a current was read while the string was white, and what it should be is known

	name, label, control, saw, once []byte // of the line's text: they live no longer
}

func headOf(l *Line) head {
	return head{
		kind: l.Kind, stage: l.Stage, verdict: l.Verdict,
		name: []byte(l.String), label: []byte(l.Label), control: []byte(l.Controller), saw: []byte(l.Seen), once: []byte(l.Once),
		white: slices.ContainsFunc(l.Readings, func(r Reading) bool {
			return r.Amps(WhileWhite) && r.Expected != nil
		}),
	}
}

// readHead reads the head of a line that is written as [Log.Append] writes it,
// without decoding the rest: a long record is read at every start. It is false for
// whatever is written in another way, and for what [Line.Check] might refuse.
func readHead(text []byte) (h head, ok bool) {
	s := scanner{rest: bytes.TrimSuffix(text, []byte("\n"))}
	if !s.next('{') {
		return h, false
	}
	var readings []byte
	for {
		key := s.text()
		if key == nil || !s.next(':') {
			return h, false
		}
		switch string(key) {
		case "time":
			if s.text() == nil {
				return h, false
			}
		case "kind":
			h.kind = kindOf(s.text())
		case "stage":
			if h.stage = stageOf(s.text()); h.stage == "" {
				return h, false
			}
		case "verdict":
			if h.verdict = verdictOf(s.text()); h.verdict == "" {
				return h, false
			}
		case "plan":
			s.short()
		case "string":
			h.name = s.short()
		case "label":
			h.label = s.short()
		case "controller":
			h.control = s.short()
		case "seen":
			h.saw = s.short()
		case "once":
			if h.once = s.short(); !checkOnce(string(h.once)) {
				return h, false
			}
		case "last_lit", "note", "pattern", "level_percent":
			s.value()
		case "readings":
			readings = s.value()
		default:
			return h, false
		}
		if s.bad {
			return h, false
		}
		if s.next(',') {
			continue
		}
		break
	}
	if !s.next('}') || len(s.rest) > 0 {
		return h, false
	}
	h.white = bytes.Contains(readings, []byte(`"amps"`)) && bytes.Contains(readings, []byte(`"while":"white"`)) && bytes.Contains(readings, []byte(`"expected":`))
	switch h.kind {
	case Proof:
		ok = (len(h.name) > 0 || h.stage == Bench && len(h.label) > 0) && h.verdict != ""
	case Replaced:
		ok = len(h.name) > 0
	case Measured:
		ok = len(readings) > 2
	default:
		ok = h.kind != ""
	}
	return h, ok
}

func kindOf(text []byte) Kind {
	for _, k := range []Kind{Proof, Measured, Note, Inspection, BurnIn, Replaced} {
		if string(text) == string(k) {
			return k
		}
	}
	return ""
}

func stageOf(text []byte) Stage {
	for _, s := range []Stage{Bench, Hung, Opening} {
		if string(text) == string(s) {
			return s
		}
	}
	return ""
}

func verdictOf(text []byte) Verdict {
	for _, v := range []Verdict{Good, Fault} {
		if string(text) == string(v) {
			return v
		}
	}
	return ""
}

// scanner goes over JSON that has no blank outside its strings.
type scanner struct {
	rest []byte
	bad  bool
}

func (s *scanner) next(c byte) bool {
	if len(s.rest) == 0 || s.rest[0] != c {
		return false
	}
	s.rest = s.rest[1:]
	return true
}

// text reads a string without escapes; nil: there is none.
func (s *scanner) text() []byte {
	if len(s.rest) < 2 || s.rest[0] != '"' {
		s.bad = true
		return nil
	}
	end := bytes.IndexByte(s.rest[1:], '"')
	if end < 0 || bytes.IndexByte(s.rest[1:1+end], '\\') >= 0 {
		s.bad = true
		return nil
	}
	text := s.rest[1 : 1+end]
	s.rest = s.rest[2+end:]
	return text
}

// short reads a name.
func (s *scanner) short() []byte {
	text := s.text()
	if len(text) > maxName || !utf8.Valid(text) {
		s.bad = true
	}
	return text
}

// value passes over any value and returns its text.
func (s *scanner) value() []byte {
	depth, quoted := 0, false
	for i := 0; i < len(s.rest); i++ {
		c := s.rest[i]
		switch {
		case quoted && c == '\\':
			i++
		case c == '"':
			quoted = !quoted
		case quoted:
		case c == '[' || c == '{':
			depth++
		case depth == 0 && (c == ',' || c == '}'):
			value := s.rest[:i]
			s.rest = s.rest[i:]
			s.bad = s.bad || len(value) == 0
			return value
		case c == ']' || c == '}':
			depth--
		case c <= ' ':
			s.bad = true
			return nil
		}
	}
	s.bad = true
	return nil
}

// decode reads a line as a whole.
func decode(text []byte) (Line, error) {
	var line Line
	err := json.Unmarshal(text, &line)
	if err == nil {
		err = line.Check()
	}
	return line, err
}
