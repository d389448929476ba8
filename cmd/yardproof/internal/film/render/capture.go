package render

import (
	"fmt"
	"strings"
	"time"

	"yardproof/cmd/yardproof/internal/session"
	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/patterns"
	"yardproof/sacn"
	"yardproof/sacn/source"
)

// Capture is what was sent: the slots of every universe, frame by frame, of one loop.
type Capture struct {
	frames [][]byte // each: all universes, 512 slots each
	period time.Duration
	full   float64 // the highest slot
}

// Loop is how long it takes until all comes again.
func (c Capture) Loop() time.Duration { return time.Duration(len(c.frames)) * c.period }

// Level is what a slot has at a moment since a loop began, as a share of the highest.
func (c Capture) Level(address int, at time.Duration) float64 {
	f := c.frames[int(at/c.period)%len(c.frames)]
	if address < 0 || address >= len(f) {
		return 0 // nobody sends it
	}
	return min(1, float64(f[address])/c.full)
}

// Plan reads a plan's text.
func Plan(text string) (*config.Plan, error) {
	plan, problems := config.Load("street.yaml", strings.NewReader(text))
	for _, p := range problems {
		if p.Severity == config.Error {
			return nil, fmt.Errorf("%v", p)
		}
	}
	return plan, nil
}

// Send has the engine send the code for a loop, at forty frames a second of a clock
// that nobody waits for, and takes the slots from its packets.
func Send(plan *config.Plan) (Capture, error) {
	s := session.New(plan, budget.New(plan))
	scene := s.Scene()
	slots := make([][]byte, len(scene.Streams))
	for i, u := range scene.Streams {
		slots[i] = make([]byte, u.Slots)
	}
	c := Capture{period: time.Second / 40}
	now := time.Date(2026, 11, 26, 17, 0, 0, 0, time.UTC)
	frame := func(n uint64) error {
		now = now.Add(c.period)
		scene.Render(source.Frame{Number: n, Deadline: now}, slots)
		all := make([]byte, 512*len(slots))
		for i, v := range slots {
			out := sacn.Data{Universe: scene.Streams[i].Universe, Priority: 100, Slots: v}
			packet, err := out.AppendTo(nil)
			if err != nil {
				return err
			}
			var in sacn.Data
			if err := in.Decode(packet); err != nil {
				return err
			}
			copy(all[512*i:], in.Slots)
		}
		if n > 0 {
			c.frames = append(c.frames, all)
		}
		return nil
	}
	if err := frame(0); err != nil {
		return c, err
	}
	if _, err := s.Show(session.Request{Pattern: patterns.Code, Level: .05, LevelExplicit: true}); err != nil {
		return c, err
	}
	for range 3 * 40 * 14 { // until it has risen to its level and a loop begins
		if err := frame(0); err != nil {
			return c, err
		}
	}
	for n := range uint64(patterns.CodeLoop / c.period) {
		if err := frame(n + 1); err != nil {
			return c, err
		}
	}
	for _, f := range c.frames {
		for _, v := range f {
			c.full = max(c.full, float64(v))
		}
	}
	return c, nil
}
