package web

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"yardproof/cmd/yardproof/internal/session"
	"yardproof/config/budget"
	"yardproof/config/configtest"
)

// TestThousandStreams: of a thousand event streams 64 are served, the others told so at
// once; dark is answered beside them, and none is left when they have gone.
func TestThousandStreams(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		y := newYard(t, nil)
		ctx, leave := context.WithCancel(t.Context())
		defer leave()
		var refused, ended atomic.Int64
		for range 1000 {
			req := httptest.NewRequestWithContext(ctx, "GET", "/api/events", nil)
			req.Host = "192.0.2.5:9531"
			go func() {
				defer ended.Add(1)
				w := httptest.NewRecorder()
				if y.handler.ServeHTTP(w, req); w.Code == http.StatusServiceUnavailable {
					refused.Add(1)
				}
			}()
		}
		time.Sleep(time.Second)
		synctest.Wait()
		if n, open := refused.Load(), y.streams.Load(); n != 1000-maxStreams || open != maxStreams {
			t.Errorf("%d of 1000 are refused, %d are open", n, open)
		}
		if r := y.do(t, "POST", "/api/dark", "{}"); r.Code != http.StatusOK {
			t.Errorf("beside them dark answers %d", r.Code)
		}
		leave()
		synctest.Wait()
		if n, open := ended.Load(), y.streams.Load(); n != 1000 || open != 0 {
			t.Errorf("%d of 1000 have ended, %d are open", n, open)
		}
	})
}

// nowhere takes an answer and keeps nothing of it.
type nowhere struct{}

func (nowhere) Header() http.Header              { return http.Header{} }
func (nowhere) WriteHeader(int)                  {}
func (nowhere) Write(b []byte) (int, error)      { return len(b), nil }
func (nowhere) FlushError() error                { return nil }
func (nowhere) SetWriteDeadline(time.Time) error { return nil }

// BenchmarkStream is what one page costs at 1,000 strings: a look that finds nothing new,
// as most do, and one that tells the whole state.
func BenchmarkStream(b *testing.B) {
	var text strings.Builder
	text.WriteString("strings:\n")
	for i := range 1000 {
		fmt.Fprintf(&text, "  - {name: quay-%04d, universe: %d, pixels: 170}\n", i, i+1)
	}
	plan := configtest.Load(b, text.String())
	y := newYard(b, func(cfg *Config) { cfg.Session = session.New(plan, budget.New(plan)) })
	if _, err := y.cfg.Session.Show(session.Request{Pattern: "walk", Level: 0.3, LevelExplicit: true}); err != nil {
		b.Fatal(err)
	}
	for name, anew := range map[string]bool{"nothing new": false, "state": true} {
		b.Run(name, func(b *testing.B) {
			st := stream{w: nowhere{}, rc: http.NewResponseController(nowhere{})}
			b.ReportAllocs()
			for b.Loop() {
				if anew {
					st.told = time.Time{}
				}
				now := y.cfg.Session.Snapshot()
				if err := st.state(y.Server, now, "quay-0500"); err != nil {
					b.Fatal(err)
				}
				if err := st.frame(y.Server, now.Shown, "quay-0500"); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
