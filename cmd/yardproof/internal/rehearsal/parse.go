package rehearsal

import (
	"fmt"
	"strconv"
	"strings"

	"yardproof/cmd/yardproof/internal/rehearsal/yard"
	"yardproof/config"
)

// ParseFault reads a fault as it is written on a command line:
// KIND,STRING[,PLACE[,SEVERITY]], for a swap KIND,STRING,OTHER.
func ParseFault(text string) (yard.Fault, error) {
	parts := strings.Split(text, ",")
	for i := range parts {
		parts[i] = strings.TrimSpace(parts[i])
	}
	info, ok := yard.Lookup(yard.Kind(parts[0]))
	if !ok {
		var kinds []string
		for _, i := range yard.Kinds() {
			kinds = append(kinds, string(i.Kind))
		}
		return yard.Fault{}, fmt.Errorf("there is no kind of fault %.40q; %s", parts[0], config.Suggest(parts[0], kinds))
	}
	f := yard.Fault{Kind: info.Kind, Severity: (info.Range[0] + info.Range[1]) / 2}
	want := "KIND,STRING"
	rest := parts[1:]
	if len(rest) > 0 {
		f.String, rest = rest[0], rest[1:]
	}
	if info.Swap {
		want += ",OTHER"
		if len(rest) > 0 {
			f.With, rest = rest[0], rest[1:]
		}
	}
	if info.At != yard.Whole {
		want += ",PLACE"
		if len(rest) > 0 {
			var err error
			if f.Place, err = strconv.Atoi(rest[0]); err != nil {
				return f, fmt.Errorf("%s: place %.20q is not a whole number", info.Kind, rest[0])
			}
			rest = rest[1:]
		}
	}
	if info.Unit != "" {
		want += "[,SEVERITY]"
		if len(rest) > 0 {
			var err error
			if f.Severity, err = strconv.ParseFloat(rest[0], 64); err != nil {
				return f, fmt.Errorf("%s: severity %.20q is not a number", info.Kind, rest[0])
			}
			rest = rest[1:]
		}
	}
	if len(rest) > 0 || f.String == "" || info.Swap && f.With == "" || info.At != yard.Whole && f.Place == 0 {
		return f, fmt.Errorf("%.60q is not a whole fault; write %s", text, want)
	}
	return f, nil
}
