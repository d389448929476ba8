package web

import (
	"net/http"
	"testing"
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
