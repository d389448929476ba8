package rehearsal

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
)

// What is asked is read as strictly as everywhere on the page.
func TestRequestsAreStrict(t *testing.T) {
	h := demo(t, 1, 1).Handler()
	for _, c := range []struct {
		path, body, kind string
		want             int
	}{
		{"meter", `{"string":"gable-left","pixel":1}`, "application/json", 200},
		{"meter", `{"string":"gable-left","pixel":1}`, "text/plain", 415},
		{"meter", `{"string":"gable-left","pixel":1,"pixel":2}`, "application/json", 400},
		{"meter", `{"String":"gable-left","pixel":1}`, "application/json", 400},
		{"meter", `{"string":"gable-left","pixel":1} {}`, "application/json", 400},
		{"meter", `{"string":"gable-left","pixel":"one"}`, "application/json", 400},
		{"meter", `{"string":"gable-left"}`, "application/json", 400},
		{"mend", `{"kind":"dead pixel"`, "application/json", 400},
		{"end", ``, "application/json", 400},
		{"end", `{}`, "application/json", 200},
	} {
		req := httptest.NewRequest(http.MethodPost, "/rehearsal/"+c.path, strings.NewReader(c.body))
		req.Header.Set("Content-Type", c.kind)
		w := httptest.NewRecorder()
		h.ServeHTTP(w, req)
		if w.Code != c.want {
			t.Errorf("%s %s as %s: %d %s", c.path, c.body, c.kind, w.Code, w.Body)
		}
		if w.Code >= 400 && w.Header().Get("Content-Type") != "application/problem+json" {
			t.Errorf("%s %s: refused as %s", c.path, c.body, w.Header().Get("Content-Type"))
		}
	}
}
