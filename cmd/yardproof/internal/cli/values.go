package cli

import (
	"math"
	"strconv"
	"strings"
)

// ParseBlock reads the first and the last pixel of a block, 40-59.
func ParseBlock(text string) (first, last int, err error) {
	a, b, ok := strings.Cut(text, "-")
	first, err1 := strconv.Atoi(strings.TrimSpace(a))
	last, err2 := strconv.Atoi(strings.TrimSpace(b))
	if !ok || err1 != nil || err2 != nil || first < 1 || last < first {
		return 0, 0, Usagef("%q is not a block: write its first and its last pixel, as in 40-59", text)
	}
	return first, last, nil
}

// ParseLevel reads a --level in percent, with or without the sign, as a share.
func ParseLevel(text string) (float64, error) {
	percent, err := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(text), "%")), 64)
	if err != nil || math.IsNaN(percent) || percent < 0 || percent > 100 {
		return 0, Usagef("--level %q: a level is 0 to 100 %%", text)
	}
	return percent / 100, nil
}
