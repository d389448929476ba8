package protection

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/config/configtest"
)

var plans = flag.Int("plans", 80, "how many random plans are mended")

// anyPlan is one string as somebody might hang it: one to three feeds, some from a feeder,
// fuses that may be too big, thin wire, a jumper, weak connectors, heat, a cut.
func anyPlan(r *rand.Rand) string {
	pick := func(of ...string) string { return of[r.IntN(len(of))] }
	n := 6 + r.IntN(20)
	var feeds []string
	for i, at := range []string{"start", strconv.Itoa(2 + r.IntN(n/2)), "end"}[:1+r.IntN(3)] {
		from := "supply: a"
		if i > 0 && r.IntN(3) == 0 {
			from = "from: box"
		}
		feeds = append(feeds, fmt.Sprintf("{at: %s, %s, awg: %s, metres: %d, fuse_amps: %s%s}", at, from,
			pick("20", "18", "16", "14"), 1+r.IntN(15), pick("2", "3", "5", "7.5", "10"), pick("", "", ", connector_amps: 3")))
	}
	more := pick("", "", fmt.Sprintf(", jumpers: [{after: %d, awg: %s, metres: %d}]", 1+r.IntN(n-2), pick("22", "18", "14"), 1+r.IntN(4)))
	if len(feeds) == 3 {
		more += pick("", "", "", fmt.Sprintf(", cut_positive_after: [%d]", n-1))
	}
	more += pick("", "", ", connector_amps: 3")
	return fmt.Sprintf("temperature: %s\nsupplies: [{name: a, volts: 12, watts: %s, hiccup_amps: %s}]\nfeeders: [{name: box, supply: a, awg: %s, metres: %d, fuse_amps: %s}]\n",
		pick("20", "20", "45", "60"), pick("60", "600"), pick("6", "60", "60"), pick("16", "12"), 1+r.IntN(8), pick("7.5", "15")) +
		fmt.Sprintf("strings: [{name: quay, universe: 1, pixels: %d, supply: a, amps_per_pixel: %.4f, pitch: {awg: %s, millimetres: %d}, feeds: [%s]%s}]\n",
			n, (0.3+3*r.Float64())/float64(n), pick("22", "18", "16"), 50+r.IntN(600), strings.Join(feeds, ", "), more)
}

var mendings = map[string]*regexp.Regexp{
	"fuses":      regexp.MustCompile(`fuses of at most (\S+) A on its feeds`),
	"connectors": regexp.MustCompile(`connectors for (\S+) A there`),
	"fuse":       regexp.MustCompile(`a fuse of (?:at most )?(\S+) A`),
	"pitch":      regexp.MustCompile(`(\d+) AWG for its (?:lead and |lead, )?pitch`),
	"lead":       regexp.MustCompile(`(\d+) AWG for its lead`),
	"jumper":     regexp.MustCompile(`(\d+) AWG for its (?:.*pitch and )?jumper`),
	"supply":     regexp.MustCompile(`a supply that gives (\S+) A`),
}

// mended does to a plan what is said, one of the ways that it names.
func mended(t *testing.T, p *config.Plan, place, way string) {
	t.Helper()
	s, done := p.Strings[0], false
	var feed *config.Feed
	for _, f := range s.Feeds {
		if strings.HasSuffix(place, " at "+f.At) {
			feed = f
		}
	}
	for kind, form := range mendings {
		m := form.FindStringSubmatch(way)
		if m == nil || kind == "fuse" && strings.Contains(way, "fuses") {
			continue
		}
		x, err := strconv.ParseFloat(m[1], 64)
		if err != nil {
			t.Fatal(err)
		}
		done = true
		switch kind {
		case "fuses":
			for _, f := range s.Feeds {
				f.FuseAmps = min(f.FuseAmps, x)
			}
		case "fuse":
			feed.FuseAmps = x
		case "connectors":
			if feed != nil {
				feed.ConnectorAmps = x
			} else {
				s.ConnectorAmps = x
			}
		case "pitch":
			s.Pitch = thicker(s.Pitch, int(x))
		case "lead":
			feed.Wire = thicker(feed.Wire, int(x))
		case "jumper":
			s.Jumpers[0].Wire = thicker(s.Jumpers[0].Wire, int(x))
		case "supply":
			p.Supplies[0].HiccupAmps = x
		}
	}
	if !done {
		t.Fatalf("what is %q to do?", way)
	}
}

// wrongs is all that is past its limit: how far each piece is in one fault, shorts that are not
// seen, fuses that cannot open, and what the budget warns of, by what it is about.
func wrongs(p *config.Plan) map[string]float64 {
	b := budget.New(p)
	r := New(p, b)
	wrong := map[string]float64{}
	for _, x := range r.Strings[0].Worst {
		if x.over() > 1 && !x.twice() {
			wrong[fmt.Sprint(x.spot)] = x.over()
		}
	}
	for i, f := range p.Strings[0].Feeds {
		if f.FuseAmps > supplyAmps(f.Supply) {
			wrong["never "+f.At] = 1
		}
		if reach := r.Strings[0].Fuses[i]; reach.Unseen > 0 {
			wrong["unseen "+f.At] = 1
		}
	}
	for _, problem := range b.Problems {
		what, _, _ := strings.Cut(problem.What, " does not protect its wire: ") // the thinnest may be another now
		wrong[regexp.MustCompile(`[-0-9.]+`).ReplaceAllString(what, "#")] = 1
	}
	return wrong
}

// TestMendsOfRandomPlans does to random plans what each finding names and works them out anew,
// budget and all: the finding is gone, and nothing else is wrong that was not, or more so.
func TestMendsOfRandomPlans(t *testing.T) {
	tried := map[string]int{}
	for seed := range uint64(*plans) {
		text := anyPlan(rand.New(rand.NewPCG(seed, 13)))
		p := configtest.Load(t, text)
		before := wrongs(p)
		for _, f := range New(p, budget.New(p)).Findings {
			if strings.Contains(f.Mend, noMend) {
				tried["none"]++
				continue
			}
			for way := range strings.SplitSeq(f.Mend, " or ") {
				q := configtest.Load(t, text)
				mended(t, q, f.Place, way)
				after := wrongs(q)
				for what, over := range after {
					if over > max(before[what], 1)*(1+1e-6) || before[what] == 0 {
						t.Errorf("plan %d: %s; %s: %s comes to %.4f from %.4f\n%s", seed, f.What, way, what, over, before[what], text)
					}
				}
				for _, g := range New(q, budget.New(q)).Findings {
					if g.Place == f.Place && g.What == f.What {
						t.Errorf("plan %d: %s; %s: it is still there\n%s", seed, f.What, way, text)
					}
				}
				if len(after) >= len(before) {
					t.Errorf("plan %d: %s; %s: as much is wrong as before: %v\n%s", seed, f.What, way, after, text)
				}
				for kind, form := range mendings {
					if form.MatchString(way) {
						tried[kind]++
					}
				}
			}
		}
	}
	t.Log(tried)
	for kind := range mendings {
		if tried[kind] == 0 {
			t.Errorf("%q is tried %d times", kind, tried[kind])
		}
	}
}

// Of 150 pixels with 6.6 A, fed at both ends, pitch of 18 AWG for 20 lets the nearer feed bring
// 4.15 A for 3.89, of which its fuse of 5 A carries 3.75 for long: the mend says so.
func TestThickerPitchLoadsAFuse(t *testing.T) {
	plan := strings.Replace(string150(`{at: start, awg: 14, metres: 1, fuse_amps: 5}, {at: end, awg: 18, metres: 6, fuse_amps: 5}`), "0.0555", "0.044", 1)
	var white [2]float64
	for i, awg := range []string{"20", "18"} {
		p, b, _ := made(t, strings.Replace(plan, "awg: 18, millimetres", "awg: "+awg+", millimetres", 1))
		white[i] = b.Strings[0].Feeds[0].FullWhiteAmps
		if f := New(p, b).Findings; i == 0 && !strings.HasPrefix(f[0].Mend, "18 AWG for its pitch (full white is then capped by a fuse)") {
			t.Errorf("%+v", f)
		}
	}
	within(t, "with 20 AWG", white[0], 3.894, 0.001)
	within(t, "with 18 AWG", white[1], 4.149, 0.001)
}

// Of the wires with which a short is seen one is named that loads no other fuse: with 18 AWG
// that at the end would have 3.78 A, where 3.75 may flow for long and 3.735 did.
func TestSeeingLoadsNoFuse(t *testing.T) {
	plan := strings.Replace(string150(`{at: start, awg: 18, metres: 4, fuse_amps: 7.5}, {at: end, awg: 18, metres: 3, fuse_amps: 5}`), "0.0555", "0.048", 1)
	for awg, amps := range map[string]float64{"20": 3.735, "18": 3.780, "16": 3.499} {
		_, b, _ := made(t, strings.NewReplacer("awg: 18, millimetres", "awg: "+awg+", millimetres", "start, awg: 18", "start, awg: "+min(awg, "18")).Replace(plan))
		within(t, awg+" AWG, at the end", b.Strings[0].Feeds[1].FullWhiteAmps, amps, 0.001)
	}
	p, b, _ := made(t, strings.Replace(plan, "awg: 18, millimetres", "awg: 20, millimetres", 1))
	for _, f := range New(p, b).Findings {
		if f.Place == "feed at start" && strings.HasPrefix(f.Mend, "a fuse of 5 A or 16 AWG for its lead and pitch would see it") {
			return
		}
	}
	t.Errorf("%+v", New(p, b).Findings)
}

// Where no fuse is known the mend is one, of 7 A for 18 AWG, and says where it is missing:
// with it nothing is found.
func TestMendOfNoFuse(t *testing.T) {
	for _, more := range []string{"", ", {at: end, awg: 18, metres: 1, fuse_amps: 3}"} {
		plan := strings.Replace(string150("{at: start, awg: 18, metres: 1}"+more), "0.0555", "0.02", 1)
		p, b, _ := made(t, plan)
		if f := New(p, b).Findings; len(f) == 0 || f[0].Mend != "fuses of at most 7 A on its feeds (none is known at start: set fuse_amps); local codes prevail" {
			t.Errorf("%s: %+v", more, f)
		}
		p, b, _ = made(t, strings.Replace(plan, "metres: 1}", "metres: 1, fuse_amps: 7}", 1))
		if f := New(p, b).Findings; len(f) > 0 {
			t.Errorf("%s, with what is named: %+v", more, f)
		}
	}
}
