package burnin

import (
	"context"
	"fmt"
	"sync"
	"time"

	"yardproof/cmd/yardproof/internal/terminal"
	"yardproof/cmd/yardproof/internal/textout"
)

// Begins says what a burn-in does, and after what it goes on.
func (b *BurnIn) Begins() string {
	text := "programme: " + b.Steps()
	switch r := b.Report(); {
	case r.State == Finished:
		text += fmt.Sprintf("\nthe burn-in was over at %s; --again begins anew", r.Finished.Local().Format(textout.Minutes))
	case r.Least > 0:
		text += "\ngoing on after " + r.Says()
	}
	return text
}

// Ends says what a burn-in has come to.
func (r Report) Ends() string {
	return fmt.Sprintf("burn-in of %s: %s\n%s", textout.Count(len(r.Chosen), "string"), r.Says(), r.Summary())
}

// RunShown runs it, and draws a bar in a terminal; elsewhere it logs a line each hour.
func (b *BurnIn) RunShown(ctx context.Context, bar *terminal.StatusLine) error {
	ctx, stop := context.WithCancel(ctx)
	var shown sync.WaitGroup
	shown.Go(func() { b.draw(ctx, bar) })
	defer shown.Wait()
	defer stop()
	return b.Run(ctx)
}

func (b *BurnIn) draw(ctx context.Context, bar *terminal.StatusLine) {
	every := time.Hour
	if bar.Live {
		every = time.Second
	}
	tick := time.NewTicker(every)
	defer tick.Stop()
	for {
		bar.Set(b.Report().Bar())
		select {
		case <-ctx.Done():
			bar.Set("")
			return
		case <-tick.C:
		}
		if r := b.Report(); !bar.Live {
			b.cfg.Log.Info("burn-in", "state", string(r.State), "progress", r.Says(), "summary", r.Summary())
		}
	}
}
