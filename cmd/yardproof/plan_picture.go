package main

import (
	"io"
	"strings"

	"yardproof/cmd/yardproof/internal/session"
	"yardproof/patterns"
)

// picture draws a pattern on a string, for a handbook or a wall.
func (v *planView) picture(w io.Writer, name, pattern string) error {
	i, err := v.find(name)
	if err != nil {
		return err
	}
	p, ok := patterns.Lookup(pattern)
	if !ok {
		var names []string
		for _, p := range patterns.All() {
			names = append(names, p.Name)
		}
		return usagef("there is no pattern %q; there are %s", pattern, strings.Join(names, ", "))
	}
	_, err = w.Write(patterns.Picture(p, session.Layout(v.plan.Strings[i])))
	return err
}
