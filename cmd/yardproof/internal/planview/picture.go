package planview

import (
	"io"

	"yardproof/cmd/yardproof/internal/light"
	"yardproof/cmd/yardproof/internal/planfile"
	"yardproof/patterns"
)

// Picture draws a pattern on a string as SVG, for a handbook or a wall.
func (v *View) Picture(w io.Writer, name, pattern string) error {
	s, err := v.find(name)
	if err != nil {
		return err
	}
	p, ok := patterns.Lookup(pattern)
	if !ok {
		return planfile.NoSuch("pattern", pattern, patterns.Names())
	}
	_, err = w.Write(patterns.Picture(p, light.Layout(s)))
	return err
}
