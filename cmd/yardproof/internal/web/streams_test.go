package web

import (
	"context"
	"net/http"
	"net/http/httptest"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"
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
