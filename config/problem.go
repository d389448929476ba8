package config

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
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
	Where    string   `json:"where"` // file:line:column
	What     string   `json:"what"`
	Fix      string   `json:"fix"`
}

// SortProblems brings problems into the order of the file.
func SortProblems(problems []Problem) {
	slices.SortStableFunc(problems, func(a, b Problem) int {
		_, aLine, aColumn := a.place()
		_, bLine, bColumn := b.place()
		return cmp.Or(cmp.Compare(aLine, bLine), cmp.Compare(aColumn, bColumn))
	})
}

// place takes Where apart; line 0 is the whole file.
func (p Problem) place() (file string, line, column int) {
	rest, col, _ := cutLast(p.Where, ":")
	file, at, _ := cutLast(rest, ":")
	line, err1 := strconv.Atoi(at)
	column, err2 := strconv.Atoi(col)
	if err1 != nil || err2 != nil {
		return p.Where, 0, 0
	}
	return file, line, column
}

func cutLast(s, sep string) (before, after string, found bool) {
	if i := strings.LastIndex(s, sep); i >= 0 {
		return s[:i], s[i+len(sep):], true
	}
	return s, "", false
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

// Where returns a place in the form file:line:column, or the file alone when
// the plan was made from something else than a file.
func (p *Plan) Where(m Mark) string {
	if m == (Mark{}) {
		return p.File
	}
	return fmt.Sprintf("%s:%d:%d", p.File, m.Line, m.Column)
}
