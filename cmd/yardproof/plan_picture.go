package main

import (
	"io"
	"slices"
	"strings"

	"yardproof/config"
	"yardproof/patterns"
)

// picture draws a pattern on a string, for a handbook or a wall.
func (v *planView) picture(w io.Writer, name, pattern string) error {
	i := slices.IndexFunc(v.plan.Strings, func(s *config.String) bool { return s.Name == name })
	if i < 0 {
		return usagef("the plan has no string %q; yardproof plan lists them", name)
	}
	p, ok := patterns.Lookup(pattern)
	if !ok {
		var names []string
		for _, p := range patterns.All() {
			names = append(names, p.Name)
		}
		return usagef("there is no pattern %q; there are %s", pattern, strings.Join(names, ", "))
	}
	s := v.plan.Strings[i]
	_, err := w.Write(patterns.Picture(p, patterns.Layout{Pixels: s.Pixels, Order: string(s.Order), Number: i + 1, Plain: s.Chip.Name == config.ChipNone}))
	return err
}
