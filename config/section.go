package config

import (
	"fmt"
	"iter"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"yardproof/sacn"
)

// section reads the keys of one mapping. Each reading method declares its key,
// so that what is left over at the end is unknown; each returns the default when
// the key was left out, and notes a problem and returns the default when its
// value is of no use.
type section struct {
	d     *decoder
	n     *node
	who   string // as a message calls it: string gable-left
	known []string
	key   *Key // that is being described, see Keys; mostly nil

	extensible bool // keys that begin with x- are the user's own, for anchors and notes
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
	s := &section{d: d, n: n, who: who, known: d.spare[:0], key: d.describing[n]}
	d.spare = nil // sections nest: only one may write there
	return s
}

// sections are those of a list, with the places of each.
func (d *decoder) sections(nodes []node, who string) iter.Seq2[*section, Marks] {
	return func(yield func(*section, Marks) bool) {
		for n := range d.each(nodes) {
			var marks Marks
			s := d.section(n, who, &marks)
			if s != nil && !yield(s, marks) {
				return
			}
		}
	}
}

// end notes every key that no method asked for.
func (s *section) end() {
	for _, e := range s.n.entries {
		if s.d.dropped > 0 {
			break
		}
		if !slices.Contains(s.known, e.key) && !(s.extensible && strings.HasPrefix(e.key, "x-")) {
			fix := suggestKey(e.key, s.known)
			if s.extensible && strings.HasPrefix(fix, anyOf) {
				fix += "; begin a key of your own with x-"
			}
			s.d.errorf(e.at, fix, "%s: unknown key %q", s.who, clip(e.key))
		}
	}
	s.d.spare = s.known
}

// renamed notes the name that a key had before.
func (s *section) renamed(old, now string) {
	for _, e := range s.n.entries {
		if e.key == old {
			s.known = append(s.known, old)
			s.d.errorf(e.at, "write "+now+":", "%s: the key %s has a new name", s.who, old)
		}
	}
}

// require wants keys to be there.
func (s *section) require(fix string, keys ...string) {
	for _, key := range keys {
		if s.n.find(key) == nil {
			s.d.errorf(s.n.at, fix, "%s: %s is missing", s.who, key)
		}
	}
	s.declareRequired(keys...)
}

// get declares a key that has a single value and returns that, or nil when it was
// left out.
func (s *section) get(k Key) *node {
	s.declare(k)
	n := s.n.find(k.Name)
	switch {
	case n == nil:
		return nil
	case n.kind == null:
		s.d.errorf(n.at, "write a value, or leave the key out", "%s: %s has no value", s.who, k.Name)
		return nil
	case n.kind != scalar:
		s.d.errorf(n.at, "write one value", "%s: %s is %s", s.who, k.Name, n.kind)
		return nil
	}
	return n
}

// list returns the items of a key that holds a list of sections.
func (s *section) list(key, does string) []node {
	s.declare(Key{Name: key, Does: does, Kind: KeyList})
	n := s.n.find(key)
	if n == nil || n.kind == null {
		return s.describe()
	}
	if n.kind != list {
		s.d.errorf(n.at, "begin each item with a dash", "%s: %s is %s", s.who, key, n.kind)
		return nil
	}
	return n.items
}

// sub opens the section under a key; nil when it is not there.
func (s *section) sub(key, does, who string, marks *Marks) *section {
	s.declare(Key{Name: key, Does: does, Kind: KeySection})
	n := s.n.find(key)
	if n == nil || n.kind == null {
		items := s.describe()
		if items == nil {
			return nil
		}
		n = &items[0]
	}
	return s.d.section(n, who, marks)
}

func (s *section) text(key, does, otherwise string) string {
	return s.textOf(Key{Name: key, Does: does, Default: otherwise})
}

func (s *section) textOf(k Key) string {
	k.Kind = KeyText
	n := s.get(k)
	if n == nil {
		return k.Default
	}
	const most = 200
	switch {
	case strings.TrimSpace(n.text) == "":
		s.d.errorf(n.at, "write a value, or leave the key out", "%s: %s is empty", s.who, k.Name)
		return k.Default
	case len(n.text) > most:
		s.d.errorf(n.at, "shorten it", "%s: %s is %d octets long, the most is %d", s.who, k.Name, len(n.text), most)
		return k.Default
	case strings.ContainsFunc(n.text, steers):
		s.d.errorf(n.at, "remove it", "%s: %s contains a control character", s.who, k.Name)
		return k.Default
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
func (s *section) word(key, does string, words ...string) string {
	n := s.get(Key{Name: key, Does: does, Kind: KeyWord, Words: words, Default: words[0]})
	if n == nil {
		return words[0]
	}
	if slices.Contains(words, n.text) {
		return n.text
	}
	s.d.errorf(n.at, Suggest(n.text, words), "%s: %s cannot be %q", s.who, key, clip(n.text))
	return words[0]
}

func (s *section) flag(key, does string) bool {
	n := s.get(Key{Name: key, Does: does, Kind: KeyFlag, Default: "false"})
	if n == nil || n.text == "false" {
		return false
	}
	if n.text != "true" {
		s.d.errorf(n.at, "write true or false", "%s: %s cannot be %q", s.who, key, clip(n.text))
	}
	return n.text == "true"
}

// number reads a number from lo to hi, both allowed, in a unit.
func (s *section) number(key, does string, otherwise, lo, hi float64, u unit) float64 {
	return s.numberOf(Key{Name: key, Does: does, Lo: lo, Hi: hi}, otherwise, u)
}

// positive is number for what must be more than nothing.
func (s *section) positive(key, does string, otherwise, hi float64, u unit) float64 {
	return s.numberOf(Key{Name: key, Does: does, Hi: hi, Above: true}, otherwise, u)
}

func (s *section) numberOf(k Key, otherwise float64, u unit) float64 {
	k.Kind, k.Unit, k.signs = KeyNumber, u.name, u.signs
	if s.key != nil && (otherwise > k.Lo || otherwise == k.Lo && !k.Above) {
		k.Default = amount(otherwise, "")
	}
	n := s.get(k)
	if n == nil {
		return otherwise
	}
	v, ok := u.parse(n.text)
	if ok && v >= k.Lo && v <= k.Hi && !(k.Above && v == k.Lo) {
		return v
	}
	fix := "give " + span(k.Lo, k.Hi, u.name)
	if k.Above {
		fix = fmt.Sprintf("give more than %g and at most %s", k.Lo, amount(k.Hi, u.name))
	}
	if digits, rest := cutNumber(n.text); !ok && len(u.signs) > 0 && rest != "" && strings.EqualFold(rest[:1], u.signs[0].text[:1]) {
		if _, number := u.parse(digits); number { // 12 Volt
			fix = "write " + clip(digits) + " " + u.signs[0].text
		}
	}
	if whole, part, comma := strings.Cut(n.text, ","); comma && !ok {
		fix = "write a point, not a comma: " + clip(whole+"."+part)
		if _, number := u.parse(whole + "." + part); !number {
			fix = "write it as a number with a point, such as 7.5"
		}
	}
	if !ok && n.text != "" && n.text[0] >= '0' && n.text[0] <= '9' {
		switch {
		case strings.Contains(n.text, "/"):
			fix = "write the part after a point, such as 4.5"
		case u.name == feet.name:
			fix = "write it as feet: 6, inches: 3"
		}
	}
	s.d.errorf(n.at, fix, "%s: %s cannot be %s", s.who, k.Name, quote(n.text))
	return otherwise
}

func (s *section) whole(key, does string, otherwise, lo, hi int, u unit) int {
	k := Key{Name: key, Does: does, Kind: KeyWhole, Lo: float64(lo), Hi: float64(hi), Unit: u.name, signs: u.signs}
	if s.key != nil && otherwise >= lo {
		k.Default = strconv.Itoa(otherwise)
	}
	n := s.get(k)
	if n == nil {
		return otherwise
	}
	return s.wholeOf(n, key, otherwise, lo, hi, u)
}

func (s *section) wholeOf(n *node, key string, otherwise, lo, hi int, u unit) int {
	v, ok := u.parse(n.text)
	if ok && v == math.Trunc(v) && v >= float64(lo) && v <= float64(hi) && !strings.ContainsAny(n.text, ".eE") {
		return int(v)
	}
	s.d.errorf(n.at, "give a whole number, "+span(float64(lo), float64(hi), u.name), "%s: %s cannot be %s", s.who, key, quote(n.text))
	return otherwise
}

// universe reads the number of a universe from lo on; 0 when there is none.
func (s *section) universe(key, does string, lo int) uint16 {
	return uint16(s.whole(key, does, 0, lo, sacn.MaxUniverse, bare))
}

// share reads a part of a whole, as 80% or 0.8, above nothing unless zero is
// allowed.
func (s *section) share(key, does string, otherwise float64, zero bool) float64 {
	k := Key{Name: key, Does: does, Kind: KeyShare, Hi: 1, Above: !zero}
	if s.key != nil && (otherwise > 0 || zero) {
		k.Default = amount(100*otherwise, "%")
	}
	n := s.get(k)
	if n == nil {
		return otherwise
	}
	v, ok := parseShare(n.text)
	switch {
	case ok && v > 1 && v <= 100 && !strings.HasSuffix(n.text, "%"):
		s.d.errorf(n.at, fmt.Sprintf("write %s%%", clip(n.text)), "%s: %s of %s lacks its unit", s.who, key, quote(n.text))
	case !ok || v < 0 || v > 1 || v == 0 && !zero:
		fix := "give more than 0 % and at most 100 %"
		if zero {
			fix = "give 0 to 100 %"
		}
		s.d.errorf(n.at, fix, "%s: %s cannot be %s", s.who, key, quote(n.text))
	default:
		return v
	}
	return otherwise
}

// channels reads a range such as 400-512, or one channel; 0, 0 is none.
func (s *section) channels(key, does string) (first, last int) {
	n := s.get(Key{Name: key, Does: does, Kind: KeyText, Pattern: `^\s*\d+\s*(-\s*\d+\s*)?$`})
	if n == nil {
		return 0, 0
	}
	from, to, isRange := strings.Cut(n.text, "-")
	if !isRange {
		to = from
	}
	first, err1 := strconv.Atoi(strings.TrimSpace(from))
	last, err2 := strconv.Atoi(strings.TrimSpace(to))
	if err1 != nil || err2 != nil || first < 1 || last < first || last > sacn.MaxSlots {
		s.d.errorf(n.at, "write first and last channel, such as 400-512", "%s: %s cannot be %s", s.who, key, quote(n.text))
		return 0, 0
	}
	return first, last
}
