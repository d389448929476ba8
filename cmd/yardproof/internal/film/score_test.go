package film

import (
	"context"
	"encoding/json"
	"fmt"
	"hash/fnv"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"yardproof/cmd/yardproof/internal/film/render"
	"yardproof/patterns/camera"
)

// score is how verdicts on films compare with the truth.
type score struct {
	films, visible, right, wrong, echoes int
	faults, named, accused               int // strings
	dies, diesFound, diesFalse           int
	hot, hotFound, hotFalse              int
	deadGood                             int
	off                                  []float64         // image pixels
	seconds, megabytes                   float64           // of reading; of frames
	kinds                                map[string][2]int // of faults: named, planted
	missed                               []string          // what was not named
}

func (s *score) add(o score) {
	s.films, s.visible, s.right, s.wrong, s.echoes = s.films+o.films, s.visible+o.visible, s.right+o.right, s.wrong+o.wrong, s.echoes+o.echoes
	s.faults, s.named, s.accused = s.faults+o.faults, s.named+o.named, s.accused+o.accused
	s.dies, s.diesFound, s.diesFalse = s.dies+o.dies, s.diesFound+o.diesFound, s.diesFalse+o.diesFalse
	s.hot, s.hotFound, s.hotFalse, s.deadGood = s.hot+o.hot, s.hotFound+o.hotFound, s.hotFalse+o.hotFalse, s.deadGood+o.deadGood
	s.megabytes += o.megabytes
	for k, n := range o.kinds {
		s.count(k, n[0], n[1])
	}
	s.off, s.seconds, s.missed = append(s.off, o.off...), s.seconds+o.seconds, append(s.missed, o.missed...)
}

// count adds to what was named, and planted, of a kind of fault.
func (s *score) count(kind string, named, planted int) {
	if s.kinds == nil {
		s.kinds = map[string][2]int{}
	}
	n := s.kinds[kind]
	s.kinds[kind] = [2]int{n[0] + named, n[1] + planted}
}

func (s *score) byKind() string {
	var all []string
	for _, k := range slices.Sorted(maps.Keys(s.kinds)) {
		all = append(all, fmt.Sprintf("%s %d/%d", k, s.kinds[k][0], s.kinds[k][1]))
	}
	return strings.Join(all, ", ")
}

func (s *score) String() string {
	slices.Sort(s.off)
	off := math.NaN()
	if len(s.off) > 0 {
		off = s.off[len(s.off)/2]
	}
	return fmt.Sprintf("%d films: %d/%d read (%.2f %%), %d wrong, %d reflections; strings %d/%d named, %d accused; dies %d/%d, %d false; stuck %d/%d, %d false; dead as good %d; off %.2f px; %.1f s and %.1f MB a film",
		s.films, s.right, s.visible, 100*float64(s.right)/float64(max(1, s.visible)), s.wrong, s.echoes, s.named, s.faults, s.accused,
		s.diesFound, s.dies, s.diesFalse, s.hotFound, s.hot, s.hotFalse, s.deadGood, off, s.seconds/float64(max(1, s.films)), s.megabytes/float64(max(1, s.films)))
}

// inSight is the share of a film in which a pixel must be seen to count.
const inSight = .6

// shows reports whether a pixel must be read.
func shows(p render.Pixel) bool {
	return len(p.Hears) > 0 && !p.Dead && !p.Hot && p.Visible >= inSight
}

// rate holds a reading against the truth.
func rate(y *render.Yard, res *Result, got *camera.Reading) score {
	s := score{films: 1}
	dx, dy := offset(y, got.Lights)
	type truth struct {
		*render.Pixel
		str, k, first int
	}
	var all []truth
	for i := range y.Strings {
		for k := range y.Strings[i].Pixels {
			p := &y.Strings[i].Pixels[k]
			first := -1
			if len(p.Hears) > 0 {
				first = slices.Min(p.Hears)
			}
			all = append(all, truth{p, i, k, first})
		}
	}
	near := func(x, y float64) (best int, d float64) {
		best, d = -1, math.Inf(1)
		for i, t := range all {
			if e := math.Hypot(t.X+dx-x, t.Y+dy-y); e < d {
				best, d = i, e
			}
		}
		return best, d
	}
	reach := .5 * y.Pitch
	hit := map[int]bool{}
	for _, l := range got.Lights {
		i, d := near(l.X, l.Y)
		t := all[i]
		switch {
		case d < reach && t.first == l.First:
			if !hit[i] {
				s.off = append(s.off, d)
			}
			hit[i] = true
		case l.Echo:
		case d < 2*y.Pitch:
			s.wrong++
			s.missed = append(s.missed, fmt.Sprintf("%s seed %d: %s pixel %d (dead %v, stuck %v, missing %q, in sight %.2f) has %d, read as %d (margin %.0f, fit %.2f, chained %v), %.1f px off",
				y.Name, y.Seed, y.Strings[t.str].Name, t.k+1, t.Dead, t.Hot, t.Missing, t.Visible, t.first, l.First, l.Margin, l.Fit, l.Chained, d))
		default:
			s.echoes++
		}
	}
	for i, t := range all {
		if shows(*t.Pixel) {
			s.visible++
			if hit[i] {
				s.right++
			}
		}
	}
	for _, p := range res.Pixels {
		if p.X == 0 && p.Y == 0 {
			continue
		}
		i, d := near(p.X, p.Y)
		if d > reach {
			continue
		}
		t := all[i]
		counts := t.Visible >= inSight && y.Strings[t.str].Fault.Kind != "copies" // as below
		switch p.Verdict {
		case ColourMissing:
			if t.Missing == "" || p.Detail != colourNames(t.Missing) {
				s.diesFalse++
				s.missed = append(s.missed, fmt.Sprintf("%s seed %d: %s pixel %d (missing %q, dead %v, in sight %.2f) is said to miss %s", y.Name, y.Seed, y.Strings[t.str].Name, t.k+1, t.Missing, t.Dead, t.Visible, p.Detail))
			} else if hit[i] && counts {
				s.diesFound++
			}
		case Stuck:
			if !t.Hot {
				s.hotFalse++
				s.missed = append(s.missed, fmt.Sprintf("%s seed %d: %s pixel %d (dead %v, in sight %.2f) is said to be stuck", y.Name, y.Seed, y.Strings[t.str].Name, t.k+1, t.Dead, t.Visible))
				for _, l := range append(slices.Clone(got.Others), got.Lights...) {
					if d := math.Hypot(l.X-p.X, l.Y-p.Y); d < 3*y.Pitch {
						s.missed = append(s.missed, fmt.Sprintf("    light %.1f px off: first %d fit %.2f dark %.4f around %.4f mean %.4f pitch %.1f", d, l.First, l.Fit, l.Dark, l.Around, l.Mean, l.Pitch))
					}
				}
			} else if counts {
				s.hotFound++
			}
		case Good:
			if t.Dead && d < .3*y.Pitch {
				s.deadGood++
			}
		}
	}
	for i, t := range all {
		if y.Strings[t.str].Fault.Kind == "copies" {
			continue // two pixels answer as one until that is mended
		}
		if (t.Missing != "" && hit[i] || t.Hot) && t.Visible >= inSight {
			verdict, away := "nothing there", 0.0
			for _, p := range res.Pixels {
				if d := math.Hypot(p.X-t.X-dx, p.Y-t.Y-dy); d < reach && (p.X != 0 || p.Y != 0) {
					verdict, away = fmt.Sprintf("%s pixel %d %s %s", p.String, p.Pixel, p.Verdict, p.Detail), d
				}
			}
			if t.Hot != strings.Contains(verdict, string(Stuck)) || t.Missing != "" && !strings.Contains(verdict, string(ColourMissing)) {
				s.missed = append(s.missed, fmt.Sprintf("%s seed %d: %s pixel %d, stuck %v, missing %q, is %s (%.1f px off)", y.Name, y.Seed, y.Strings[t.str].Name, t.k+1, t.Hot, t.Missing, verdict, away))
				for _, l := range append(slices.Clone(got.Others), got.Lights...) {
					if d := math.Hypot(l.X-t.X-dx, l.Y-t.Y-dy); d < reach {
						s.missed = append(s.missed, fmt.Sprintf("    light %.1f px off: first %d fit %.2f margin %.0f dark %.3f around %.3f mean %.3f echo %v resp %.2f", d, l.First, l.Fit, l.Margin, l.Dark, l.Around, l.Mean, l.Echo, l.Response))
					}
				}
			}
		}
		if t.Missing != "" && hit[i] && t.Visible >= inSight {
			s.dies++
		}
		if t.Hot && t.Visible >= inSight {
			s.hot++
		}
	}
	for i, str := range y.Strings {
		s.strings(y, str, res.Strings[i])
	}
	return s
}

// strings counts a string's fault and what was found.
func (s *score) strings(y *render.Yard, truth render.String, got String) {
	f := truth.Fault
	if f.Kind == "" {
		for _, g := range got.Findings {
			if g.Sure {
				s.accused++
				s.missed = append(s.missed, fmt.Sprintf("%s seed %d: %s is sound, and %+v", y.Name, y.Seed, truth.Name, g))
				break
			}
		}
		return
	}
	s.faults++
	s.count(f.Kind, 0, 1)
	for _, g := range got.Findings {
		ok := false
		switch f.Kind {
		case "start":
			ok = g.Kind == KindStart && g.Count == f.Count
		case "count":
			ok = g.Kind == KindTail && g.Count == f.Count
		case "nulls":
			ok = g.Kind == KindNulls && g.Count == f.Count
		case "swapped":
			ok = g.Kind == KindSwapped && g.Other == y.Strings[f.Other].Name
		case "copies":
			ok = g.Kind == KindCopies && g.Count == f.Count
		default:
			ok = string(g.Kind) == f.Kind
		}
		if ok {
			s.named++
			s.count(f.Kind, 1, 0)
			return
		}
	}
	s.missed = append(s.missed, fmt.Sprintf("%s seed %d: %s has %+v, and %+v", y.Name, y.Seed, truth.Name, f, got.Findings))
}

// offset is where the hand was in the base frame.
func offset(y *render.Yard, lights []camera.Light) (dx, dy float64) {
	at := map[int]*render.Pixel{}
	for i := range y.Strings {
		for k := range y.Strings[i].Pixels {
			if p := &y.Strings[i].Pixels[k]; len(p.Hears) > 0 {
				at[slices.Min(p.Hears)] = p
			}
		}
	}
	var xs, ys []float64
	for _, l := range lights {
		if p := at[l.First]; p != nil && !l.Echo {
			xs, ys = append(xs, l.X-p.X), append(ys, l.Y-p.Y)
		}
	}
	if len(xs) == 0 {
		return 0, 0
	}
	slices.Sort(xs)
	slices.Sort(ys)
	return xs[len(xs)/2], ys[len(ys)/2]
}

// filmed renders a scene, or takes it from where it was kept.
func filmed(t testing.TB, scene render.Scene, keep string) (*render.Yard, *Reader) {
	t.Helper()
	h := fnv.New64()
	fmt.Fprintf(h, "%+v", scene)
	file := filepath.Join(keep, fmt.Sprintf("%016x.json", h.Sum64()))
	y, frames := render.New(scene), []render.Frame(nil)
	plan, err := render.Plan(y.Plan)
	if err != nil {
		t.Fatal(err)
	}
	if text, err := os.ReadFile(file); keep == "" || err != nil || json.Unmarshal(text, &frames) != nil {
		if y, plan, frames, err = render.Shoot(scene); err != nil {
			t.Fatal(err)
		}
		if keep != "" {
			text, err := json.Marshal(frames)
			if err == nil {
				err = os.WriteFile(file, text, 0o644)
			}
			if err != nil {
				t.Fatal(err)
			}
		}
	}
	r, err := New(plan, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range frames {
		if err := r.Add(f.At, f.JPEG); err != nil {
			t.Fatal(err)
		}
	}
	return y, r
}

// drawing is a layout as somebody drew it.
func drawing(y *render.Yard) Layout {
	layout := Layout{}
	for _, s := range y.Strings {
		for k, p := range s.Drawn {
			layout[s.Name] = append(layout[s.Name], Spot{k + 1, p[0], p[1]})
		}
	}
	return layout
}

// measure films a scene and rates what is read, without a drawing and with one.
func measure(t testing.TB, scene render.Scene, keep string) (without, with score) {
	t.Helper()
	y, r := filmed(t, scene, keep)
	begun := time.Now()
	got, err := camera.Read(context.Background(), camera.Film{Times: r.times, Frame: r.frame}, r.yard.sent)
	if err != nil {
		unread := score{films: 1, missed: []string{fmt.Sprintf("%s seed %d: %v", scene.Name, scene.Seed, err)}}
		for _, s := range y.Strings {
			for _, p := range s.Pixels {
				if shows(p) {
					unread.visible++
				}
			}
		}
		return unread, score{films: 1}
	}
	res := r.yard.judge(got)
	took := time.Since(begun).Seconds()
	without = rate(y, res, got)
	r.yard.layout = drawing(y)
	with = rate(y, r.yard.judge(got), got)
	without.seconds, with.seconds = took, took
	without.megabytes = float64(r.bytes) / 1e6
	return without, with
}

func explain(s score) string { return "    " + strings.Join(s.missed, "\n    ") }
