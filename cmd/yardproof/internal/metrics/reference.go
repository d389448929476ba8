package metrics

import (
	"fmt"
	"io"
	"regexp"
	"strconv"
	"strings"

	"github.com/prometheus/client_golang/prometheus"
)

// described is how a prometheus.Desc prints itself; it has no other way out.
var described = regexp.MustCompile(`^Desc\{fqName: "([^"]+)", help: ("(?:[^"\\]|\\.)*"), .*variableLabels: \{([^}]*)\}\}$`)

// WriteReference writes every metric with its labels and what it counts.
func WriteReference(w io.Writer) {
	for _, part := range []struct {
		heading    string
		collectors []prometheus.Collector
	}{
		{"run and burn-in; every series has the label plan", []prometheus.Collector{Transmitter{}, BurnInCollector(nil), SurroundingsCollector(nil), Interface("")}},
		{"listen", []prometheus.Collector{Listener{}}},
	} {
		fmt.Fprintf(w, "Metrics of %s:\n\n", part.heading)
		for _, c := range part.collectors {
			ch := make(chan *prometheus.Desc)
			go func() {
				defer close(ch)
				c.Describe(ch)
			}()
			for d := range ch {
				m := described.FindStringSubmatch(d.String())
				help, err := strconv.Unquote(m[2])
				if err != nil {
					help = m[2]
				}
				labels := ""
				if m[3] != "" {
					labels = "{" + strings.ReplaceAll(m[3], ",", ", ") + "}"
				}
				fmt.Fprintf(w, "  %s%s\n      %s\n", m[1], labels, help)
			}
		}
		fmt.Fprintln(w)
	}
	fmt.Fprint(w, "Counters count from the start of the program. What cannot be measured is absent, never 0.\n")
}
