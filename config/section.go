package config

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"
)

// section reads the keys of one mapping. Each reading method notes the key as
// known, so that what is left over at the end is unknown; each returns the
// default when the key was left out, and notes a problem and returns the
// default when its value is of no use.
type section struct {
	d     *decoder
	n     *node
	who   string // as a message calls it: string gable-left
	known []string
}

// section opens a mapping; nil means that it is none, which has been noted.
func (d *decoder) section(n *node, who string, marks *Marks) *section {
	if n.kind != mapping {
		d.errorf(n.at, "write key: value pairs", "%s is %s", who, n.kind)
		return nil
	}
	marks.self = n.at
	marks.keys = make([]keyMark, len(n.entries))
	for i, e := range n.entries {
		marks.keys[i] = keyMark{e.key, e.val.at}
	}
	s := &section{d: d, n: n, who: who, known: d.spare[:0]}
	d.spare = nil // sections nest: only one may write there
	return s
}

// end notes every key that no method asked for.
func (s *section) end() {
	for _, e := range s.n.entries {
		if s.d.dropped > 0 {
			break
		}
		if !slices.Contains(s.known, e.key) {
			s.d.errorf(e.at, suggestKey(e.key, s.known), "%s: %q is no key here", s.who, clip(e.key))
		}
	}
	s.d.spare = s.known
}

// get returns the value of a key, or nil when it was left out.
func (s *section) get(key string) *node {
	s.known = append(s.known, key)
	return s.n.find(key)
}

// getScalar is get for keys that have a single value.
func (s *section) getScalar(key string) *node {
	n := s.get(key)
	switch {
	case n == nil:
		return nil
	case n.kind == null:
		s.d.errorf(n.at, "give it one, or leave the key out", "%s: %s has no value", s.who, key)
		return nil
	case n.kind != scalar:
		s.d.errorf(n.at, "write one value", "%s: %s is %s", s.who, key, n.kind)
		return nil
	}
	return n
}

// list returns the items of a key that holds a list.
func (s *section) list(key string) []node {
	n := s.get(key)
	if n == nil || n.kind == null {
		return nil
	}
	if n.kind != list {
		s.d.errorf(n.at, "begin each item with a dash", "%s: %s is %s", s.who, key, n.kind)
		return nil
	}
	return n.items
}

func (s *section) text(key, otherwise string) string {
	n := s.getScalar(key)
	if n == nil {
		return otherwise
	}
	const most = 200
	switch {
	case strings.TrimSpace(n.text) == "":
		s.d.errorf(n.at, "give it one, or leave the key out", "%s: %s is empty", s.who, key)
		return otherwise
	case len(n.text) > most:
		s.d.errorf(n.at, "shorten it", "%s: %s is %d octets long, the most is %d", s.who, key, len(n.text), most)
		return otherwise
	case strings.ContainsFunc(n.text, steers):
		s.d.errorf(n.at, "remove it", "%s: %s contains a control character", s.who, key)
		return otherwise
	}
	return n.text
}

// steers reports whether a character would do something to a terminal or to
// the text around it in place of being seen. The two joiners stay: some scripts
// spell with them.
func steers(r rune) bool {
	const nonJoiner, joiner = '\u200c', '\u200d'
	return unicode.In(r, unicode.Cc, unicode.Cf, unicode.Zl, unicode.Zp) && r != nonJoiner && r != joiner
}

// word reads one of a few words; the first is the default.
func (s *section) word(key string, words ...string) string {
	n := s.getScalar(key)
	if n == nil {
		return words[0]
	}
	for _, w := range words {
		if w == n.text {
			return w
		}
	}
	s.d.errorf(n.at, suggest(n.text, words), "%s: %s cannot be %q", s.who, key, clip(n.text))
	return words[0]
}

func (s *section) flag(key string) bool { return s.word(key, "false", "true") == "true" }

// number reads a number from lo to hi, both allowed. The unit stands in
// messages only.
func (s *section) number(key string, otherwise, lo, hi float64, unit string) float64 {
	n := s.getScalar(key)
	if n == nil {
		return otherwise
	}
	v, ok := parseNumber(n.text)
	if !ok || v < lo || v > hi {
		s.d.errorf(n.at, give(ok, span(lo, hi, unit)), "%s: %s cannot be %s", s.who, key, quote(n.text))
		return otherwise
	}
	return v
}

// positive is number for what must be more than nothing.
func (s *section) positive(key string, otherwise, hi float64, unit string) float64 {
	n := s.getScalar(key)
	if n == nil {
		return otherwise
	}
	v, ok := parseNumber(n.text)
	if !ok || v <= 0 || v > hi {
		s.d.errorf(n.at, give(ok, "more than 0 and at most "+amount(hi, unit)), "%s: %s cannot be %s", s.who, key, quote(n.text))
		return otherwise
	}
	return v
}

func (s *section) whole(key string, otherwise, lo, hi int, unit string) int {
	n := s.getScalar(key)
	if n == nil {
		return otherwise
	}
	return s.wholeOf(n, key, otherwise, lo, hi, unit)
}

func (s *section) wholeOf(n *node, key string, otherwise, lo, hi int, unit string) int {
	v, err := strconv.Atoi(n.text)
	if err != nil || v < lo || v > hi {
		s.d.errorf(n.at, fmt.Sprintf("give a whole number, %s", span(float64(lo), float64(hi), unit)), "%s: %s cannot be %s", s.who, key, quote(n.text))
		return otherwise
	}
	return v
}

// share reads a part of a whole, as 80% or 0.8.
func (s *section) share(key string, otherwise float64) float64 {
	n := s.getScalar(key)
	if n == nil {
		return otherwise
	}
	v, ok := parseShare(n.text)
	switch {
	case ok && v > 1 && v <= 100 && !strings.HasSuffix(n.text, "%"):
		s.d.errorf(n.at, fmt.Sprintf("write %s%%", clip(n.text)), "%s: %s of %s lacks its unit", s.who, key, quote(n.text))
	case !ok || v <= 0 || v > 1:
		s.d.errorf(n.at, "give more than 0% and at most 100%", "%s: %s cannot be %s", s.who, key, quote(n.text))
	default:
		return v
	}
	return otherwise
}

func parseShare(text string) (float64, bool) {
	digits, percent := strings.CutSuffix(text, "%")
	v, ok := parseNumber(strings.TrimSpace(digits))
	if percent {
		v /= 100
	}
	return v, ok
}

// parseNumber takes plain decimal notation: no NaN, no infinity, no hexadecimal.
func parseNumber(text string) (float64, bool) {
	for _, c := range []byte(text) {
		if (c < '0' || c > '9') && c != '.' && c != '-' && c != '+' && c != 'e' && c != 'E' {
			return 0, false
		}
	}
	v, err := strconv.ParseFloat(text, 64)
	return v, err == nil && !math.IsInf(v, 0)
}

// give asks for a number in a range.
func give(isNumber bool, what string) string {
	if isNumber {
		return "give " + what
	}
	return "write a number alone, " + what
}

func amount(v float64, unit string) string {
	return strings.TrimSpace(strconv.FormatFloat(v, 'f', -1, 64) + " " + unit)
}

func span(lo, hi float64, unit string) string {
	return strconv.FormatFloat(lo, 'f', -1, 64) + " to " + amount(hi, unit)
}

// quote shows a value that may hold anything.
func quote(text string) string {
	if _, ok := parseNumber(text); ok && len(text) < 20 {
		return text
	}
	return strconv.Quote(clip(text))
}

// shareOrZero is share for what may be nothing at all.
func (s *section) shareOrZero(key string, otherwise float64) float64 {
	n := s.n.find(key)
	if n != nil && n.kind == scalar {
		if v, ok := parseShare(n.text); ok && v == 0 {
			s.known = append(s.known, key)
			return 0
		}
	}
	return s.share(key, otherwise)
}

// channels reads a range such as 400-512, or one channel; 0, 0 is none.
func (s *section) channels(key string) (first, last int) {
	n := s.getScalar(key)
	if n == nil {
		return 0, 0
	}
	from, to, isRange := strings.Cut(n.text, "-")
	if !isRange {
		to = from
	}
	first, err1 := strconv.Atoi(strings.TrimSpace(from))
	last, err2 := strconv.Atoi(strings.TrimSpace(to))
	if err1 != nil || err2 != nil || first < 1 || last < first || last > Slots {
		s.d.errorf(n.at, "write first and last channel, such as 400-512", "%s: %s cannot be %s", s.who, key, quote(n.text))
		return 0, 0
	}
	return first, last
}
