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
