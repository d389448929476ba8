package config

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"
)

// jsonReader builds nodes from tokens, and keeps count of the place.
type jsonReader struct {
	d     *decoder
	dec   *json.Decoder
	data  []byte
	done  int // octets that mark has counted
	place Mark
}

var errDeep = errors.New("too deep")

func (d *decoder) jsonTree(data []byte) (node, bool) {
	r := &jsonReader{d: d, dec: json.NewDecoder(bytes.NewReader(data)), data: data, place: Mark{1, 1}}
	r.dec.UseNumber()
	n, err := r.value(0)
	switch {
	case err == nil:
		if at := r.mark(); r.done < len(data) {
			d.errorf(at, "keep one plan in one file", "something follows the plan")
		}
		return n, true
	case errors.Is(err, errDeep):
		d.tooDeep(r.place)
		return node{}, false
	}
	var syntax *json.SyntaxError
	at := r.place
	if errors.As(err, &syntax) {
		// The package counts to the bad character or past it.
		i := max(int(syntax.Offset)-1, 0)
		if i+1 < len(data) && !strings.Contains(syntax.Error(), fmt.Sprintf("'%c'", data[i])) {
			i++
		}
		at = markAt(data, i)
	}
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		at, err = markAt(data, len(data)), errors.New("the text ends before the plan does")
	}
	d.errorf(at, "look for a missing comma, quote or bracket just before; a plan that begins with { is read as JSON", "this is not JSON: %s", err)
	return node{}, false
}

// mark returns the place of the next token: past white space and the
// punctuation that the decoder swallows.
func (r *jsonReader) mark() Mark {
	to := int(r.dec.InputOffset())
	for to < len(r.data) && bytes.IndexByte([]byte(" \t\r\n,:"), r.data[to]) >= 0 {
		to++
	}
	for ; r.done < to; r.done++ {
		switch c := r.data[r.done]; {
		case c == '\n':
			r.place = Mark{r.place.Line + 1, 1}
		case utf8.RuneStart(c):
			r.place.Column++
		}
	}
	return r.place
}

func (r *jsonReader) value(depth int) (node, error) {
	n := node{at: r.mark()}
	if depth > maxDepth {
		return n, errDeep
	}
	tok, err := r.dec.Token()
	if err != nil {
		return n, err
	}
	switch t := tok.(type) {
	case json.Delim:
		if t == '[' {
			n.kind = list
			for r.dec.More() {
				item, err := r.value(depth + 1)
				if err != nil {
					return n, err
				}
				n.items = append(n.items, item)
			}
		} else {
			n.kind = mapping
			for r.dec.More() {
				at := r.mark()
				key, err := r.dec.Token()
				if err != nil {
					return n, err
				}
				val, err := r.value(depth + 1)
				if err != nil {
					return n, err
				}
				r.d.add(&n, entry{key.(string), at, val})
			}
		}
		_, err = r.dec.Token() // the closing bracket
	case string:
		n.kind, n.text = scalar, t
	case json.Number:
		n.kind, n.text = scalar, t.String()
	case bool:
		n.kind, n.text = scalar, map[bool]string{true: "true", false: "false"}[t]
	}
	return n, err
}
