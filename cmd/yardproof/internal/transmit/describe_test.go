package transmit

import (
	"testing"

	"yardproof/cmd/yardproof/internal/session"
	"yardproof/patterns"
)

// Dark has no level.
func TestDescribe(t *testing.T) {
	tr := &Transmitter{cfg: Config{Rate: 40, Interface: "eth0"}}
	for name, want := range map[string]string{
		patterns.Dark:      "dark on 1 string; 2 universes, 40 Hz, eth0",
		patterns.FullWhite: "full-white at 30 % on 1 string; 2 universes, 40 Hz, eth0",
	} {
		p, _ := patterns.Lookup(name)
		if got := tr.describe(session.Shown{Pattern: p, Strings: []string{"rail"}, Level: 0.3}, 2); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}
