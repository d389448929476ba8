package web

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"time"

	"yardproof/cmd/yardproof/internal/jsonbody"
)

// A problem is an answer that is not what was asked for, as a problem document
// (RFC 9457).
type problem struct {
	Status int    `json:"status"`
	Title  string `json:"title"`
	Detail string `json:"detail"`
}

func (p *problem) Error() string { return p.Detail }

func problemf(status int, format string, args ...any) error {
	return &problem{Status: status, Title: http.StatusText(status), Detail: fmt.Sprintf(format, args...)}
}

// errGone means that nobody is left to be told anything.
var errGone = errors.New("the client went away")

func gone(err error) error {
	if err != nil {
		return fmt.Errorf("%w: %w", errGone, err)
	}
	return nil
}

// answer makes a handler of a function that returns what went wrong.
func answer(do func(http.ResponseWriter, *http.Request) error) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		err := do(w, r)
		if err == nil || errors.Is(err, errGone) {
			return
		}
		p, ok := errors.AsType[*problem](err)
		if !ok {
			p = &problem{Status: http.StatusInternalServerError, Title: http.StatusText(http.StatusInternalServerError), Detail: err.Error()}
		}
		w.Header().Set("Content-Type", "application/problem+json")
		w.WriteHeader(p.Status)
		json.NewEncoder(w).Encode(p) // the client may be gone, and then nobody minds
	})
}

func writeJSON(w http.ResponseWriter, status int, v any) error {
	b, err := json.Marshal(v)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	_, err = w.Write(append(b, '\n'))
	return gone(err)
}

// readJSON reads the one JSON object of a request into v.
func readJSON(w http.ResponseWriter, r *http.Request, v any) error {
	err := jsonbody.Read(w, r, v)
	if refused, ok := errors.AsType[*jsonbody.Refusal](err); ok {
		return problemf(refused.Status, "%s", refused.Detail)
	}
	return err
}

// taking makes a handler of one that takes the one JSON object of a request.
func taking[T any](do func(http.ResponseWriter, *http.Request, T) error) func(http.ResponseWriter, *http.Request) error {
	return func(w http.ResponseWriter, r *http.Request) error {
		var in T
		if err := readJSON(w, r, &in); err != nil {
			return err
		}
		return do(w, r, in)
	}
}

// within gives a request and its answer a time in which both must be through,
// so that a slow client holds a connection no longer than that.
func within(w http.ResponseWriter, d time.Duration) {
	c := http.NewResponseController(w)
	until := time.Now().Add(d)
	c.SetReadDeadline(until)  // not every writer has deadlines: a recorder
	c.SetWriteDeadline(until) // in a test does not
}
