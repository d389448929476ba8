package record

import (
	"bytes"
	"cmp"
	"iter"
	"maps"
	"slices"
	"strings"
)

// Index is what of a record decides where each string stands: the latest line of
// each kind that counts, and no other. It grows with strings and labels, not with
// lines. Its zero value is empty.
type Index struct {
	n           int // lines
	places      map[string]*place
	benches     map[string]mark // the latest bench proof by label, wherever it was made
	controllers map[inspected]*mark
	asked       asked
	mends       map[string]int    // how often each was put right, see [Index.Mends]
	mended      map[string]string // by string: what was put right since its latest proof
}

// mark is a line that counts, by its number from 1; 0: none.
type mark struct {
	number int
	line   *Line // nil until it is resolved
	at     int64 // in the file
	octets int
}

// marks are the latest proofs, by [stageIndex].
type marks [4]mark

func (m *marks) set(s Stage, one mark) { m[stageIndex(s)] = one }

func stageIndex(s Stage) int {
	switch s {
	case Bench:
		return 0
	case Hung:
		return 1
	case Opening:
		return 2
	}
	return 3 // none was given
}

// place is where a string hangs.
type place struct {
	label    string // of the physical string there now
	spare    string // label of the last spare that was noted
	replaced bool
	proofs   int   // of whatever hung there
	own      marks // proofs since another string was hung there
	changed  int   // number of the latest line that says where it stands
	white    mark  // the latest good proof with a current that can be compared
}

type inspected struct{ controller, seen string }

// maxSeen is the octets of what an inspection of a controller may say to be found again.
const maxSeen = 16

// MendedWord begins what a note has as seen when something was put right: the words of a
// cause follow, and where, as in mended=broken-data@41.
const MendedWord = "mended="

// So long may that be to be counted, and so many different ones are.
const maxMended, mostMends = 64, 100

// Add counts a line, which must not change afterwards.
func (x *Index) Add(l *Line) { x.add(headOf(l), mark{line: l}) }

func (x *Index) add(h head, m mark) {
	if x.places == nil {
		x.places, x.benches, x.controllers, x.mends, x.mended = map[string]*place{}, map[string]mark{}, map[inspected]*mark{}, map[string]int{}, map[string]string{}
	}
	x.n++
	m.number = x.n
	x.asked.add(h.once, Place{m.at, int32(m.octets)})
	switch {
	case h.kind == Inspection && len(h.control) > 0 && len(h.saw) <= maxSeen:
		last := m // else every mark would be on the heap
		x.controllers[inspected{string(h.control), string(h.saw)}] = &last
	case h.kind == Note && len(h.name) > 0 && len(h.saw) <= maxMended && bytes.HasPrefix(h.saw, []byte(MendedWord)):
		what, _, _ := strings.Cut(string(h.saw[len(MendedWord):]), "@") // of any place
		x.mended[string(h.name)] = what
	case h.kind == Replaced:
		p := x.place(h.name)
		*p = place{label: string(h.label), spare: cmp.Or(string(h.label), p.spare), replaced: true, proofs: p.proofs, changed: x.n}
	case h.kind == Proof && len(h.name) == 0: // on the bench, with no place in a plan yet
		x.benches[string(h.label)] = m
	case h.kind == Proof:
		p := x.place(h.name)
		p.proofs++
		p.changed = x.n
		x.proved(h)
		if h.verdict == Good && h.white {
			p.white = m
		}
		if len(h.label) > 0 {
			if p.label != string(h.label) { // compared without making a string
				if p.label != "" { // another physical string
					p.replaced, p.own = true, marks{}
				}
				p.label = string(h.label)
			}
			if h.stage == Bench {
				x.benches[p.label] = m
			}
		}
		p.own.set(h.stage, m)
	}
}

// proved counts what was put right before a proof: it was that if the proof is good.
func (x *Index) proved(h head) {
	what, ok := x.mended[string(h.name)]
	if !ok {
		return
	}
	delete(x.mended, string(h.name))
	if n, known := x.mends[what]; h.verdict == Good && (known || len(x.mends) < mostMends) {
		x.mends[what] = n + 1
	}
}

func (x *Index) place(name []byte) *place {
	p := x.places[string(name)]
	if p == nil {
		p = &place{}
		x.places[string(name)] = p
	}
	return p
}

// resolve gets the lines that count, where only their heads were read.
func (x *Index) resolve(get func(at int64, octets int) (Line, error)) error {
	all := slices.Collect(maps.Values(x.controllers))
	for _, p := range x.places {
		all = append(all, &p.white)
		for i := range p.own {
			all = append(all, &p.own[i])
		}
	}
	benches := map[string]*mark{}
	for label, m := range x.benches {
		benches[label] = &m
		all = append(all, &m)
	}
	slices.SortFunc(all, func(a, b *mark) int { return cmp.Compare(a.at, b.at) })
	for i, m := range all {
		if m.number == 0 || m.line != nil {
			continue
		}
		if i > 0 && all[i-1].number == m.number {
			m.line = all[i-1].line
			continue
		}
		l, err := get(m.at, m.octets)
		if err != nil {
			return err
		}
		m.line = &l
	}
	for label, m := range benches {
		x.benches[label] = *m
	}
	return nil
}

// Len returns how many lines were counted.
func (x *Index) Len() int { return x.n }

// Standing is where a string stands: the later proof counts.
type Standing struct {
	String   string          // "": it was on the bench, and hangs nowhere yet
	Label    string          // the physical string that hangs there now
	Latest   *Line           // its latest proof; nil: unproved
	ByStage  map[Stage]*Line // its latest proof at each stage; "" when no stage was given
	Proofs   int             // all proofs of whatever hung there
	Replaced bool            // another string hung there before
	Changed  int             // how many lines there were with the latest that says so; 0: none
}

// Standings returns where each string stands, sorted by name. A proof belongs to
// the physical string and to where it hangs: with another label, or after a
// replacement, the string is unproved. Its bench proof goes with its label. Strings
// that hang nowhere yet come last, by label.
func (x *Index) Standings() []Standing {
	all := make([]Standing, 0, len(x.places))
	hangs := map[string]bool{}
	for name, p := range x.places {
		s := Standing{String: name, Label: p.label, ByStage: map[Stage]*Line{}, Proofs: p.proofs, Replaced: p.replaced, Changed: p.changed}
		latest := 0
		for i, m := range p.own {
			if bench := x.benches[p.label]; i == stageIndex(Bench) && bench.number > m.number { // none has the label ""
				m = bench
				s.Changed = max(s.Changed, m.number)
			}
			if m.number == 0 {
				continue
			}
			s.ByStage[m.line.Stage] = m.line
			if m.number > latest {
				latest, s.Latest = m.number, m.line
			}
		}
		all = append(all, s)
		hangs[p.label] = true
	}
	slices.SortFunc(all, func(a, b Standing) int { return cmp.Compare(a.String, b.String) })
	placed := len(all)
	for label, m := range x.benches {
		if m.line.String == "" && !hangs[label] {
			all = append(all, Standing{Label: label, Latest: m.line, ByStage: map[Stage]*Line{Bench: m.line}, Proofs: 1, Changed: m.number})
		}
	}
	slices.SortFunc(all[placed:], func(a, b Standing) int { return cmp.Compare(a.Label, b.Label) })
	return all
}

// InPlan puts standings in the order of a plan's strings, given as name and label,
// with those that nothing is recorded of; what the plan does not have comes last. A
// string that was on the bench only is found by its label.
func InPlan(standings []Standing, strings iter.Seq2[string, string]) []Standing {
	byName, byLabel := map[string]int{}, map[string]int{}
	for i, s := range standings {
		if s.String != "" {
			byName[s.String] = i
		} else {
			byLabel[s.Label] = i
		}
	}
	var all []Standing
	taken := make([]bool, len(standings))
	for name, label := range strings {
		s := Standing{String: name, Label: label}
		if i, ok := byName[name]; ok {
			taken[i] = true
			if s = standings[i]; s.Outdated(label) {
				s = Standing{String: name, Label: label, Proofs: s.Proofs, Replaced: true, Changed: s.Changed}
			}
		}
		if i, ok := byLabel[cmp.Or(s.Label, label)]; ok && s.ByStage[Bench] == nil && !taken[i] {
			taken[i] = true
			b := standings[i]
			s.Label, s.ByStage, s.Latest, s.Proofs, s.Changed = b.Label, b.ByStage, b.Latest, s.Proofs+1, max(s.Changed, b.Changed)
		}
		all = append(all, s)
	}
	for i, s := range standings {
		if !taken[i] {
			all = append(all, s)
		}
	}
	return all
}

// Benches returns the latest proof of each string that was on the bench with no place
// in a plan, by label, the oldest first.
func (x *Index) Benches() []Line {
	var found []mark
	for _, m := range x.benches {
		if m.line.String == "" {
			found = append(found, m)
		}
	}
	return inOrder(found)
}

func inOrder(found []mark) []Line {
	slices.SortFunc(found, func(a, b mark) int { return cmp.Compare(a.number, b.number) })
	lines := make([]Line, len(found))
	for i, m := range found {
		lines[i] = *m.line
	}
	return lines
}

// Outdated reports whether a plan's label says that another physical string hangs
// there by now.
func (s Standing) Outdated(label string) bool {
	return !s.Replaced && label != "" && s.Label != "" && s.Label != label
}

// Mends returns how often each cause was what was wrong: it was put right last before a
// proof of the same string that was good.
func (x *Index) Mends() map[string]int { return maps.Clone(x.mends) }

// Spare returns the label of the spare that was last noted in a string's place; "": none.
func (x *Index) Spare(name string) string {
	if p := x.places[name]; p != nil {
		return p.spare
	}
	return ""
}

// Whites returns for each string that hangs where it was measured the latest good
// proof with a current that was read in white and can be compared, the oldest first.
func (x *Index) Whites() []Line {
	var found []mark
	for _, p := range x.places {
		if p.white.number > 0 {
			found = append(found, p.white)
		}
	}
	return inOrder(found)
}

// Seen returns which of a few words was last said of a controller in an inspection, and
// how many lines there were with that one; "" and 0: none.
func (x *Index) Seen(controller string, words ...string) (seen string, changed int) {
	for _, word := range words {
		if m := x.controllers[inspected{controller, word}]; m != nil && m.number > changed {
			changed, seen = m.number, word
		}
	}
	return seen, changed
}
