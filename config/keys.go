package config

import "slices"

// Key is one key of a plan as its reader declares it: what it is called, what it
// does and what may stand there. What checks a plan, the help and the schema for
// editors are all made from it.
type Key struct {
	Name     string
	Does     string // one phrase, without a full stop
	Kind     KeyKind
	Required bool
	Default  string // as it would be written; "": none

	Lo, Hi float64 // of numbers
	Above  bool    // Lo itself is not allowed
	Unit   string  // in words, of a bare number
	signs  []sign  // how the unit may be written

	Words   []string // that can be chosen from
	Pattern string   // of text (ECMA 262, as JSON Schema has it)
	OrList  bool     // several may be given, as a list
	Keys    []*Key   // of a section, or of each item of a list; with text, of the section that may stand in its place
}

// KeyKind is what the value of a key is.
type KeyKind string

// The kinds of keys.
const (
	KeyText    KeyKind = "text"
	KeyWord    KeyKind = "one of"
	KeyFlag    KeyKind = "true or false"
	KeyWhole   KeyKind = "whole number"
	KeyNumber  KeyKind = "number"
	KeyShare   KeyKind = "share" // 80% or 0.8
	KeySection KeyKind = "section"
	KeyList    KeyKind = "list of sections"
)

// Keys returns every key of a plan, in the order in which they are read.
func Keys() []*Key {
	root, plan := node{kind: mapping}, &Key{}
	d := newDecoder("")
	d.describing = map[*node]*Key{&root: plan}
	d.root(&root)
	return plan.Keys
}

// declare tells those who ask for the keys of this one.
func (s *section) declare(k Key) {
	s.known = append(s.known, k.Name)
	if s.key != nil {
		kept := k // so that k itself need not outlive every other call
		s.key.Keys = append(s.key.Keys, &kept)
	}
}

func (s *section) declareRequired(keys ...string) {
	if s.key == nil {
		return
	}
	for _, k := range s.key.Keys {
		k.Required = k.Required || slices.Contains(keys, k.Name)
	}
}

// describe gives those who ask for the keys a section to read where there is none.
func (s *section) describe() []node {
	if s.key == nil {
		return nil
	}
	n := []node{{kind: mapping}}
	s.d.describing[&n[0]] = s.key.Keys[len(s.key.Keys)-1]
	return n
}
