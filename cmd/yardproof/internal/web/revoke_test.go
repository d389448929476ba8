package web

import (
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// A phone whose key is gone hears no more, even over a stream that is open.
func TestRevokedStreamEnds(t *testing.T) {
	y := newYard(t, remote)
	secret, err := y.phones.add()
	if err != nil {
		t.Fatal(err)
	}
	r := httptest.NewRequestWithContext(t.Context(), "GET", "http://localhost/api/events", nil)
	r.AddCookie(&http.Cookie{Name: cookieName, Value: secret})
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		y.handler.ServeHTTP(httptest.NewRecorder(), r)
	}()
	select {
	case <-ended:
		t.Fatal("the stream ends by itself")
	case <-time.After(3 * askEvery):
	}
	if err := os.Remove(filepath.Join(y.phones.dir, hash(secret))); err != nil {
		t.Fatal(err)
	}
	select {
	case <-ended:
	case <-time.After(20 * askEvery):
		t.Error("the stream goes on")
	}
}
