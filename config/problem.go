package config

import (
	"cmp"
	"fmt"
	"slices"
)

// Severity says whether a problem stops the plan.
type Severity string

// The severities. Nothing is sent while a plan has an error.
const (
	Error   Severity = "error"
	Warning Severity = "warning"
)

// Problem is one thing wrong with a plan: what, where, and what to do.
type Problem struct {
	Severity Severity `json:"severity"`
	Where    Place    `json:"where"`
	What     string   `json:"what"`
	Fix      string   `json:"fix"`
}

// Place is where something stands: a file and, unless it is nowhere in
// particular, a line and a column. As text it is file:line:column.
type Place struct {
	File string
	Mark
}

func (p Place) String() string {
	if p.Mark == (Mark{}) {
		return p.File
	}
	return fmt.Sprintf("%s:%d:%d", p.File, p.Line, p.Column)
}

// MarshalText is String, for JSON.
func (p Place) MarshalText() ([]byte, error) { return []byte(p.String()), nil }

// SortProblems brings problems into the order of the file.
func SortProblems(problems []Problem) {
	slices.SortStableFunc(problems, func(a, b Problem) int {
		return cmp.Or(cmp.Compare(a.Where.Line, b.Where.Line), cmp.Compare(a.Where.Column, b.Where.Column))
	})
}

func (p Problem) String() string {
	return fmt.Sprintf("%s: %s: %s; %s", p.Where, p.Severity, p.What, p.Fix)
}

// Mark is a place in the plan file, counted from 1; zero is nowhere. A column
// counts characters.
type Mark struct{ Line, Column int32 }

// Marks is where a section of the plan and its keys were written.
type Marks struct {
	self Mark
	keys []keyMark
}

type keyMark struct {
	key string
	at  Mark
}

// At returns where the value of a key stands, or where the section begins when
// the key was left out.
func (m *Marks) At(key string) Mark {
	for _, k := range m.keys {
		if k.key == key {
			return k.at
		}
	}
	return m.self
}

// Has reports whether a key was written.
func (m *Marks) Has(key string) bool {
	return slices.ContainsFunc(m.keys, func(k keyMark) bool { return k.key == key })
}

// Where returns a place in the plan; the file alone when the plan was made from
// something else than a file.
func (p *Plan) Where(m Mark) Place { return Place{p.File, m} }
