package transmit

import (
	"context"
	"errors"
	"runtime"

	"yardproof/cmd/yardproof/internal/planview"
	"yardproof/config/design"
)

// mostProposed is how many strings the page proposes for: what takes more memory and
// time than that is for a program of its own.
const mostProposed = 1000

// propose works out power for the plan that is sent. Half of the cores work: the others
// send.
func (t *Transmitter) propose(ctx context.Context, level float64, loseOne bool, says func(string)) (any, error) {
	c := t.checked.Load()
	switch {
	case c.Text == nil:
		return nil, errors.New("this plan is in no file of its own, so nothing is proposed for it: use yardproof plan --propose")
	case len(c.Plan.Strings) > mostProposed:
		return nil, errors.New("the plan is too large for the page: use yardproof plan --propose on another computer")
	}
	text, err := c.Text()
	if err != nil {
		return nil, err
	}
	p := design.New(ctx, c.Plan, design.Options{Level: level, LoseOne: loseOne, Cores: max(1, runtime.GOMAXPROCS(0)/2),
		Progress: func(stage design.Stage, done, of int) { says(planview.HowFar(stage, done, of)) }})
	if t.checked.Load() != c {
		return nil, errors.New("the plan was read anew meanwhile: propose again")
	}
	return planview.NewFeeding(p, c.Plan.File, text)
}
