package farend

import (
	"fmt"
	"strconv"
	"strings"

	"yardproof/sacn"
	"yardproof/sacn/listener"
)

// ParseUniverses reads a list such as 1-40,100. It returns them ascending, each
// once.
func ParseUniverses(s string) ([]uint16, error) {
	if s == "" {
		return nil, nil
	}
	set := new(listener.UniverseSet)
	for part := range strings.SplitSeq(s, ",") {
		from, to, isRange := strings.Cut(part, "-")
		if !isRange {
			to = from
		}
		first, err1 := strconv.Atoi(strings.TrimSpace(from))
		last, err2 := strconv.Atoi(strings.TrimSpace(to))
		switch {
		case err1 != nil || err2 != nil:
			return nil, fmt.Errorf("%q is neither a universe nor a range such as 1-40", part)
		case first > last:
			return nil, fmt.Errorf("%q runs backwards", part)
		case first < sacn.MinUniverse || last > sacn.MaxUniverse:
			return nil, fmt.Errorf("%q is outside universes %d-%d", part, sacn.MinUniverse, sacn.MaxUniverse)
		}
		for u := first; u <= last; u++ {
			set.Add(uint16(u))
		}
	}
	return set.List(), nil
}
