package judge

import (
	"fmt"
	"math/rand/v2"
	"strings"

	"yardproof/config"
	"yardproof/config/budget"
)

// plan draws a small yard: two controllers, three supplies, seven strings. Two go on
// into a second universe, most have power at both ends.
func plan(r *rand.Rand) (*config.Plan, *budget.Budget) {
	pick := func(words ...string) string { return words[r.IntN(len(words))] }
	var b strings.Builder
	fmt.Fprintf(&b, "name: yard\ncontrollers:\n  - {name: a, on_loss: %s, pack: %s}\n", pick("dark", "holds", "own-pattern"), pick("continuous", "whole"))
	fmt.Fprintf(&b, "  - {name: b, on_loss: %s%s}\n", pick("dark", "holds"), pick("", ", address: 192.0.2.10"))
	b.WriteString("supplies: [{name: one, volts: 12, watts: 600}, {name: two, volts: 12, watts: 400}, {name: five, volts: 5, watts: 300}]\nstrings:\n")
	universe := 1
	for i := range 7 {
		controller, supply, volts := "a", "one", 12
		if i >= 4 {
			controller = "b"
		}
		switch i {
		case 2, 5:
			supply = "two"
		case 6, 3:
			supply, volts = "five", 5
		}
		pixels := 40 + r.IntN(110)
		channel := 1
		if i == 1 || i == 4 {
			pixels, channel = 175+r.IntN(40), 1
		}
		chip, pitch, each := "ws2811", 70+r.IntN(40), 0.03+0.03*r.Float64()
		if volts == 5 {
			chip, pitch, each, pixels = "ws2812b", 33, 0.045, 30+r.IntN(60)
		}
		if i == 1 || i == 4 {
			each = 0.02
		}
		port := fmt.Sprint(i + 1)
		fmt.Fprintf(&b, "  - {name: s%d, controller: %s, port: %s, universe: %d, channel: %d, pixels: %d, order: %s, chip: %s, amps_per_pixel: %.4f", i, controller, port, universe, channel, pixels, pick("RGB", "GRB"), chip, each)
		if i == 5 {
			fmt.Fprintf(&b, ", null_pixels: %d", 1+r.IntN(2))
		}
		fmt.Fprintf(&b, ", supply: %s, fuse_amps: %s, pitch: {awg: %d, millimetres: %d}", supply, pick("5", "7.5"), 18+2*r.IntN(2), pitch)
		fmt.Fprintf(&b, ", feeds: [{at: start, awg: 16, metres: %.1f}", 1+4*r.Float64())
		if i != 0 && (r.IntN(3) > 0 || pixels > 100) {
			fmt.Fprintf(&b, ", {at: end, awg: 14, metres: %.1f}", 3+8*r.Float64())
		}
		b.WriteString("]}\n")
		universe += 2
	}
	p, problems := config.Load("yard.yaml", strings.NewReader(b.String()))
	for _, e := range problems {
		if e.Severity == config.Error {
			panic(fmt.Sprint(e, "\n", b.String())) // the text above is wrong, not what somebody wrote
		}
	}
	return p, budget.New(p)
}
