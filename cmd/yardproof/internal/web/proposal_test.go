package web

import (
	"context"
	"errors"
	"net/http"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// TestProposal is that the page is told line by line, that one proposal is worked out at a
// time, and that it ends when the page goes or its time is over.
func TestProposal(t *testing.T) {
	var asked struct {
		level   float64
		loseOne bool
	}
	var fails error
	looks := time.Duration(0) // how long it looks, if nobody ends it
	var ended error
	y := newYard(t, func(c *Config) {
		c.Propose = func(ctx context.Context, level float64, loseOne bool, says func(string)) (any, error) {
			asked.level, asked.loseOne = level, loseOne
			says("1 of 3 strings looked at")
			says("2 of 3 strings looked at") // the older one is let go
			select {
			case <-ctx.Done():
			case <-time.After(looks):
			}
			ended = ctx.Err()
			return map[string]int{"strings": 3}, fails
		}
	})
	synctest.Test(t, func(t *testing.T) {
		ask := func(body string, ctx context.Context) reply {
			return y.do(t, "POST", "/api/proposal", body, func(r *http.Request) { *r = *r.WithContext(ctx) })
		}
		looks = 1500 * time.Millisecond
		got := ask(`{"level_percent":60,"lose_a_feed":true}`, t.Context())
		want := `{"is":"looking","says":"2 of 3 strings looked at"}` + "\n" + `{"is":"done","proposal":{"strings":3}}` + "\n"
		if got.Code != http.StatusOK || got.Body.String() != want || asked.level != 0.6 || !asked.loseOne {
			t.Errorf("%d %s, asked %+v", got.Code, got.Body, asked)
		}
		if ask(`{}`, t.Context()); asked.level != 1 || asked.loseOne {
			t.Errorf("by default %+v is asked", asked)
		}

		looks = time.Hour
		begun := time.Now()
		if got := ask(`{}`, t.Context()); time.Since(begun) != proposalTime || !strings.HasSuffix(got.Body.String(), `{"is":"done","proposal":{"strings":3}}`+"\n") || !errors.Is(ended, context.DeadlineExceeded) {
			t.Errorf("after %v: %v, %s", time.Since(begun), ended, got.Body)
		}

		// While one page waits another is told to; when the first goes it ends, and the
		// other's turn has come.
		ctx, leave := context.WithCancel(t.Context())
		gone := make(chan reply)
		go func() { gone <- ask(`{}`, ctx) }()
		synctest.Wait()
		if got := ask(`{}`, t.Context()); got.Code != http.StatusConflict {
			t.Errorf("a second one answers %d %s", got.Code, got.Body)
		}
		leave()
		if got := <-gone; strings.Contains(got.Body.String(), "done") {
			t.Errorf("who went away is told %s", got.Body)
		}
		synctest.Wait()
		if !errors.Is(ended, context.Canceled) {
			t.Error("it was not ended:", ended)
		}
		looks, fails = 0, errors.New("the plan was read anew meanwhile: propose again")
		if got := ask(`{}`, t.Context()); got.Code != http.StatusOK || got.Body.String() != `{"is":"failed","problem":"The plan was read anew meanwhile: propose again."}`+"\n" {
			t.Errorf("%d %s", got.Code, got.Body)
		}
	})
	for _, body := range []string{`{"level_percent":0}`, `{"level_percent":101}`, `{"level":5}`, `{"lose_a_feed":1}`} {
		y.wants(t, http.StatusBadRequest, "POST", "/api/proposal", body)
	}
	if got := newYard(t, nil).do(t, "POST", "/api/proposal", `{}`); got.Code != http.StatusNotFound {
		t.Errorf("without one to ask it answers %d", got.Code)
	}
}
