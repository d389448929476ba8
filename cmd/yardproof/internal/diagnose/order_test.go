package diagnose

import (
	"strings"
	"testing"

	"yardproof/patterns"
)

func orders(letters string) []string {
	if len(letters) < 2 {
		return []string{letters}
	}
	var all []string
	for i := range letters {
		for _, rest := range orders(letters[:i] + letters[i+1:]) {
			all = append(all, letters[i:i+1]+rest)
		}
	}
	return all
}

// A yard is a port and the pixels behind it: how raw slots become light.
type yard struct {
	set      string // the order set on the port
	inverse  bool   // in the port maker's sense, slot i goes to the position the i-th letter names
	leds     string // what the pixel's own positions light
	hidden   int    // pixels ahead that cannot be seen
	copies   int
	backward bool
}

// light gives the colours that a pixel shows for its slots.
func (y yard) light(slots []byte) string {
	n := len(y.leds)
	positions := make([]byte, n)
	for i := range n {
		if y.inverse {
			positions[strings.IndexByte("RGBW", y.set[i])] = slots[i]
		} else {
			positions[i] = slots[strings.IndexByte("RGBW", y.set[i])]
		}
	}
	lit := ""
	for i, v := range positions {
		if v > 0 {
			lit += y.leds[i : i+1]
		}
	}
	return lit
}

// shows is what colour-order looks like on the yard's string, from the data end.
func (y yard) shows(pixels int) string {
	p, _ := patterns.Lookup("colour-order")
	n := len(y.leds)
	addresses := pixels / y.copies
	dst := make([]byte, addresses*n)
	p.Frame(dst, patterns.Layout{Pixels: addresses, Order: "RGBW"[:n]}, patterns.Options{}, 0)
	var b strings.Builder
	for i := range addresses {
		lit := y.light(dst[i*n : (i+1)*n])
		if lit == "" {
			lit = "."
		}
		b.WriteString(strings.Repeat(lit, y.copies))
	}
	s := []byte(b.String())
	if y.backward {
		for i, j := 0, len(s)-1; i < j; i, j = i+1, j-1 {
			s[i], s[j] = s[j], s[i]
		}
	}
	return string(s[y.hidden:])
}

// seen is what one-slot shows: a colour for each slot.
func (y yard) seen() string {
	n := len(y.leds)
	all := ""
	for slot := range n {
		slots := make([]byte, n)
		slots[slot] = 255
		all += y.light(slots)
	}
	return all
}

// Check values: worked by hand (common practice, no source).
func TestNewOrder(t *testing.T) {
	for _, tt := range []struct{ set, seen, want string }{
		{"RGB", "GRB", "GRB"}, {"GRB", "RGB", "GRB"}, {"GRB", "BRG", "RBG"}, {"GRB", "GRB", "RGB"},
	} {
		if got, _ := portOrders(tt.set, tt.seen); got != tt.want {
			t.Errorf("set %s, seen %s: %s, want %s", tt.set, tt.seen, got, tt.want)
		}
	}
}

// All 36 pairs: in 18 the two senses agree, the rest involve GBR and BRG.
func TestSensesAgreeInHalf(t *testing.T) {
	agree := 0
	for _, set := range orders("RGB") {
		for _, seen := range orders("RGB") {
			first, second := portOrders(set, seen)
			if first == second {
				agree++
				continue
			}
			turning := func(o string) bool { return o == "GBR" || o == "BRG" }
			if !turning(set) && !turning(seen) && !turning(first) && !turning(second) {
				t.Errorf("set %s, seen %s: %s or %s, though none of them is GBR or BRG", set, seen, first, second)
			}
		}
	}
	if agree != 18 {
		t.Errorf("the senses agree in %d of 36 pairs, want 18", agree)
	}
}

// Every port setting in both senses and every pixel: setting what is deduced makes
// slot 1 red, slot 2 green, slot 3 blue (and slot 4 white). 72 yards of three
// channels, 1152 of four.
func TestDeducedOrderPutsItRight(t *testing.T) {
	for _, letters := range []string{"RGB", "RGBW"} {
		for _, set := range orders(letters) {
			for _, leds := range orders(letters) {
				for _, inverse := range []bool{false, true} {
					y := yard{set: set, inverse: inverse, leds: leds, copies: 1}
					first, second := portOrders(set, y.seen())
					if y.set = first; inverse {
						y.set = second
					}
					if got := y.seen(); got != letters {
						t.Fatalf("port %s (inverse %v), pixels %s: then %s is set and %s seen", set, inverse, leds, y.set, got)
					}
				}
			}
		}
	}
}

func TestReadRuns(t *testing.T) {
	for _, letters := range []string{"RGB", "RGBW"} {
		for _, set := range orders(letters) {
			for _, leds := range []string{letters, letters[1:] + letters[:1], orders(letters)[3]} {
				for hidden := range 8 {
					for copies := 1; copies <= 3; copies++ {
						for _, backward := range []bool{false, true} {
							if backward && hidden > 0 {
								continue
							}
							y := yard{set, false, leds, hidden, copies, backward}
							text := y.shows(120)
							r, ok := readRuns(text, len(letters))
							if !ok {
								t.Fatalf("%+v shows %s: nothing fits", y, text)
							}
							if strings.Join(r.Seen, "") != y.seen() || r.Copies != copies || r.Backward != backward || r.Hidden != hidden {
								t.Fatalf("%+v shows %s: read as %+v, want %s", y, text, r, y.seen())
							}
						}
					}
				}
			}
		}
	}
}

// A dead pixel is named and does not change the answer.
func TestReadRunsWithDeadPixel(t *testing.T) {
	whole := yard{set: "GRB", leds: "RGB", copies: 1}.shows(48)
	for i := range whole {
		if whole[i] == '.' {
			continue
		}
		text := whole[:i] + "." + whole[i+1:]
		r, ok := readRuns(text, 3)
		if !ok {
			t.Fatalf("%s: nothing fits", text)
		}
		if got := strings.Join(r.Seen, ""); got != "GRB" {
			t.Fatalf("%s: read as %s", text, got)
		}
		if i > 0 && i < 42 && (len(r.Dark) != 1 || r.Dark[0] != i+1) { // the first reads as hidden, the last as the end
			t.Fatalf("%s: dark pixels %v, want %d", text, r.Dark, i+1)
		}
	}
}

// Dark pixels ahead of the first lit one are null pixels, or dead ones.
func TestRunsAhead(t *testing.T) {
	for _, tt := range []struct {
		text  string
		nulls int
		wrong bool
		says  string
	}{
		{"RR.GGG.BBBB.....RR", 0, false, "the order is right"},
		{".RR.GGG.BBBB.....RR", 1, false, "the order is right"},
		{".RR.GGG.BBBB.....RR", 0, true, "1 pixel is dark ahead of pixel 1 and the plan has 0 null pixels"},
		{"..RR.GGG.BBBB.....RR", 1, true, "2 pixels are dark ahead of pixel 1 and the plan has 1 null pixel:"},
		{".R.GGG.BBBB.....RR", 0, true, "the first pixel is dark"},
		{"R.GGG.BBBB.....RR", 0, true, "1 pixel ahead of the first lit one is hidden"},
		{".GGG.BBBB.....RR.GGG", 0, true, "2 pixels ahead"},
		{"RR.GGG.BB.B.....RR.GGG", 0, true, "pixel 10 should be lit"},
		{".RR.GGG.BB.B.....RR.GGG", 1, true, "pixel 11 should be lit"},
	} {
		a, err := runsAnswer(tt.text, orderSeen{NullPixels: tt.nulls})
		if err != nil || a.Wrong != tt.wrong || !strings.Contains(a.Finding, tt.says) {
			t.Errorf("%s, %d null pixels: wrong %v, %q, %v", tt.text, tt.nulls, a.Wrong, a.Finding, err)
		}
	}
}

// Too little to tell gives no order.
func TestReadRunsRefuses(t *testing.T) {
	for _, text := range []string{"RR", "RR.GGG", "R", "RRR", "RGB", "RR.RRR.BBBB", "RR.GGG.GGGG", "RRGGGBBBB", "WWWWWWWW"} {
		if r, ok := readRuns(text, 3); ok {
			t.Errorf("%s is read as %+v", text, r)
		}
	}
}

// mixedUp is what pixels of so many channels show of a stream meant for others.
func mixedUp(stream []byte, leds string) string {
	var b strings.Builder
	for ; len(stream) >= len(leds); stream = stream[len(leds):] {
		lit := ""
		for i := range leds {
			if stream[i] > 0 {
				lit += leds[i : i+1]
			}
		}
		switch len(lit) {
		case 0:
			lit = "."
		case 1:
		default:
			lit = "?"
		}
		b.WriteString(lit)
	}
	return b.String()
}

func TestCandy(t *testing.T) {
	for _, tt := range []struct{ sent, pixels string }{{"RGB", "RGBW"}, {"RGBW", "RGB"}} {
		for _, leds := range orders(tt.pixels) {
			l := patterns.Layout{Pixels: 60, Order: tt.sent}
			dst := make([]byte, 60*len(tt.sent))
			p, _ := patterns.Lookup("colour-order")
			p.Frame(dst, l, patterns.Options{}, 0)
			text := mixedUp(dst, leds)
			a, err := runsAnswer(text, orderSeen{PlanOrder: tt.sent})
			if err != nil || !strings.Contains(a.Finding, "Three and four channels are mixed up") || len(a.Orders)+len(a.PlanLines) != 0 {
				t.Errorf("%s sent to %s shows %s: %+v, %v", tt.sent, leds, text, a, err)
			}
			// What the next step says: one-slot repeats every 3 pixels on four channels, every 4 on three.
			p, _ = patterns.Lookup("one-slot")
			p.Frame(dst, l, patterns.Options{Slot: 1}, 0)
			text = mixedUp(dst, leds)
			repeats := map[string]int{"RGBW": 3, "RGB": 4}[tt.pixels]
			for every := 1; every <= repeats; every++ {
				if same := text[every:] == text[:len(text)-every]; same != (every == repeats) {
					t.Errorf("%s sent to %s, one-slot shows %s: repeats every %d: %v", tt.sent, leds, text, every, same)
				}
			}
		}
	}
}

// Symptom 13: red on universes of 510 channels behind a controller that fills 512,
// and the reverse.
func TestColoursRotateFrom171(t *testing.T) {
	red := func(pixels int) []byte {
		b := make([]byte, 3*pixels)
		for i := 0; i < len(b); i += 3 {
			b[i] = 255
		}
		return b
	}
	shows := func(stream []byte) (second, third string) {
		s := mixedUp(stream, "RGB")
		return s[174:175], s[344:345] // well inside
	}
	var whole []byte
	for range 3 {
		whole = append(append(whole, red(170)...), 0, 0)
	}
	if second, third := shows(whole); second != "B" || third != "G" {
		t.Errorf("plan whole, controller 512: %s then %s, want B then G", second, third)
	}
	var continuous []byte
	stream := red(512)
	for ; len(stream) >= 512; stream = stream[512:] {
		continuous = append(continuous, stream[:510]...)
	}
	if second, third := shows(continuous); second != "G" || third != "B" {
		t.Errorf("plan 512, controller whole: %s then %s, want G then B", second, third)
	}
}

func TestOrder(t *testing.T) {
	for _, tt := range []struct {
		name   string
		l      orderSeen
		seen   string
		wrong  bool
		orders string
		says   string // in the finding or a next step
	}{
		{"as planned", orderSeen{PlanOrder: "GRB"}, "green red blue", false, "", "the order is right"},
		{"plain", orderSeen{}, "RGB", false, "", "the order is right"},
		{"set RGB", orderSeen{PortSet: "RGB"}, "GRB", true, "GRB", "order: GRB"},
		{"two senses", orderSeen{PortSet: "GBR", PlanOrder: "RGB"}, "BRG", true, "RGB BRG", "inverse senses"},
		{"port unknown", orderSeen{PlanOrder: "RGB"}, "BRG", true, "", "set it to RGB first"},
		{"keep the port", orderSeen{PortSet: "GRB", PlanOrder: "GRB"}, "RGB", true, "GRB", "leave the port at GRB"},
		{"four", orderSeen{PortSet: "RGBW", PlanOrder: "RGBW"}, "G,R,B,W", true, "GRBW", "order: GRBW"},
		{"derived", orderSeen{WhiteDerived: true}, "GRB", true, "", "The controller derives white"},
		{"none", orderSeen{}, "red none blue", true, "", "lights nothing"},
		{"two", orderSeen{}, "red, two, blue", true, "", "two colours at once"},
		{"twice", orderSeen{}, "RRB", true, "", "cannot both be red"},
		{"white of three", orderSeen{}, "R W B", true, "", "four channels"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			seen, err := parseSeen(tt.seen)
			if err != nil {
				t.Fatal(err)
			}
			tt.l.Seen = seen
			a, err := orderAnswer(tt.l)
			if err != nil {
				t.Fatal(err)
			}
			if a.Wrong != tt.wrong || strings.Join(a.Orders, " ") != tt.orders {
				t.Errorf("wrong %v, orders %v: want %v, %s", a.Wrong, a.Orders, tt.wrong, tt.orders)
			}
			if all := a.Finding + strings.Join(a.Next, " "); !strings.Contains(all, tt.says) {
				t.Errorf("%q is not in: %s", tt.says, all)
			}
			if a.Basis != Practice {
				t.Errorf("basis %q", a.Basis)
			}
		})
	}
	for _, bad := range []string{"", "RG", "RGBRG", "red blue sky", "ROGB"} {
		if seen, err := parseSeen(bad); err == nil {
			t.Errorf("parseSeen(%q) = %v", bad, seen)
		}
	}
	if _, err := orderAnswer(orderSeen{Seen: []string{"R", "G", "B"}, PortSet: "RRB"}); err == nil {
		t.Error("a port set to RRB is accepted")
	}
}

func FuzzText(f *testing.F) {
	f.Add("RR.GGG.BBBB.....RR", "GRB")
	f.Add("R?B.WW", "red none two white")
	f.Fuzz(func(t *testing.T, runs, seen string) {
		if a, err := runsAnswer(runs, orderSeen{}); err == nil && a.Finding == "" {
			t.Error("no finding")
		}
		if s, err := parseSeen(seen); err == nil {
			if _, err := orderAnswer(orderSeen{Seen: s, PortSet: "GRB"}); err != nil {
				t.Error(err)
			}
		}
		FindSymptoms(seen)
	})
}

// A port that derives white is set to four letters and is sent three channels.
func TestRunsWithDerivedWhite(t *testing.T) {
	for _, l := range []orderSeen{{PortSet: "GRBW", WhiteDerived: true}, {PortSet: "GRBW", PlanOrder: "RGB", WhiteDerived: true}} {
		a, err := runsAnswer("GG.RRR.BBBB.....GG", l)
		if err != nil || !strings.HasPrefix(a.Finding, "The slots show green, red, blue") {
			t.Errorf("%+v: %s, %v", l, a.Finding, err)
		}
	}
}
