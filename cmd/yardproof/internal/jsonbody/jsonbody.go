// Package jsonbody reads the one JSON object of a request, strictly: nothing in it is
// overlooked, taken twice or guessed at. It refuses to know what the object is for and
// how a refusal is written to the client.
package jsonbody

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"strings"
)

// Most is the size of the largest request, in octets.
const Most = 16 << 10

// A Refusal says why a request is not taken.
type Refusal struct {
	Status int // of the answer
	Detail string
}

func (r *Refusal) Error() string { return r.Detail }

func refuse(status int, format string, args ...any) error {
	return &Refusal{status, fmt.Sprintf(format, args...)}
}

// Read reads the one JSON object of a request into v. Its error is a [*Refusal].
func Read(w http.ResponseWriter, r *http.Request, v any) error {
	if kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || kind != "application/json" {
		return refuse(http.StatusUnsupportedMediaType, "The request must be application/json.")
	}
	text, err := io.ReadAll(http.MaxBytesReader(w, r.Body, Most))
	if err == nil {
		err = checkKeys(text)
	}
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err == nil {
		err = d.Decode(v)
	}
	if err == nil {
		if _, end := d.Token(); end != io.EOF {
			err = errors.New("something follows the object")
		}
	}
	var (
		tooBig  *http.MaxBytesError
		badType *json.UnmarshalTypeError
	)
	switch {
	case err == nil:
		return nil
	case errors.As(err, &tooBig):
		return refuse(http.StatusRequestEntityTooLarge, "The request is longer than %d octets.", Most)
	case errors.As(err, &badType) && badType.Field != "":
		return refuse(http.StatusBadRequest, "The request's %s cannot be a %s.", badType.Field, badType.Value)
	case err == io.EOF:
		return refuse(http.StatusBadRequest, "The request is empty; it must be a JSON object.")
	default:
		return refuse(http.StatusBadRequest, "The request cannot be read: %s.", strings.TrimPrefix(err.Error(), "json: "))
	}
}
