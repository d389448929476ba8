package web

import (
	"net/http"
	"testing"
	"time"
)

func TestKeysOfARequest(t *testing.T) {
	y := newYard(t, nil)
	for body, want := range map[string]int{
		`{"pattern":"ends"}`:                        http.StatusOK,
		`{"pattern":"ends","pattern":"walk"}`:       http.StatusBadRequest,
		`{"pattern":"ends","Pattern":"walk"}`:       http.StatusBadRequest,
		`{"PATTERN":"ends"}`:                        http.StatusBadRequest,
		`{"pattern":"ends","\u0073lot":1,"slot":1}`: http.StatusBadRequest,
		`{"pattern":"half","pixel":-1}`:             http.StatusBadRequest,
		`{"pattern":"one-slot","slot":-1}`:          http.StatusBadRequest,
		`{"pattern":"full-white","count":-1}`:       http.StatusBadRequest,
		`{"pattern":"ends"} {}`:                     http.StatusBadRequest,
	} {
		if got := y.do(t, "POST", "/api/show", body); got.Code != want {
			t.Errorf("%s answers %d %s", body, got.Code, got.Body)
		}
	}
}

// What breaks off within a list, or lacks a comma there, is refused, and holds no
// processor: anybody can send it.
func TestBrokenLists(t *testing.T) {
	y := newYard(t, remote)
	for _, body := range []string{`[1 2]`, `[7w`, `[`, `[1,`, `[}`, `{"token":[1 2]}`, `{"token":["a" "b"`, `[[1 [2`, `[1e999 1]`, `[1:2]`, "[7wbo\x9a\xbb", `{"token":{"a" 1}}`, `{1:2}`} {
		answered := make(chan int, 1)
		go func() { answered <- y.do(t, "POST", "/api/session", body).Code }()
		select {
		case code := <-answered:
			if code != http.StatusBadRequest {
				t.Errorf("%q answers %d", body, code)
			}
		case <-time.After(20 * time.Second):
			t.Fatalf("%q is not answered", body)
		}
	}
}

func TestKeysOfAQuery(t *testing.T) {
	y := newYard(t, nil)
	for path, want := range map[string]int{
		"/api/state":                       http.StatusOK,
		"/api/state?string=a":              http.StatusOK,
		"/api/state?strnig=a":              http.StatusBadRequest,
		"/api/state?String=a":              http.StatusBadRequest,
		"/api/state?string=a&string=b":     http.StatusBadRequest,
		"/api/state?string=%zz":            http.StatusBadRequest,
		"/api/state?a;b":                   http.StatusBadRequest,
		"/api/symptoms?words=dark":         http.StatusOK,
		"/api/symptoms?words=dark&limit=3": http.StatusBadRequest,
		"/api/plan?x":                      http.StatusBadRequest,
		"/?from=home":                      http.StatusOK,
	} {
		if got := y.do(t, "GET", path, "").Code; got != want {
			t.Errorf("%s answers %d, want %d", path, got, want)
		}
	}
}
