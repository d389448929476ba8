package planview

import (
	"bufio"
	"bytes"
	"cmp"
	"encoding/json"
	"io"
	"reflect"
	"runtime"
	"strings"
	"sync"
)

// streamJSON prints to the octet what textout.JSON does, but long lists some entries at a time
// and on all cores: of an answer of 60 MB, which 10,000 strings are, the library keeps two.
func streamJSON(out io.Writer, answer any) error {
	w := jsonStream{out: bufio.NewWriter(out)}
	w.value(reflect.ValueOf(answer), "")
	w.write([]byte("\n"), nil)
	return cmp.Or(w.err, w.out.Flush())
}

const (
	jsonIndent = "  "
	jsonLong   = 32 // entries that one core takes at a time
)

// A jsonStream keeps the first error.
type jsonStream struct {
	out *bufio.Writer
	err error
}

func (w *jsonStream) write(b []byte, err error) {
	if w.err == nil {
		w.err = err
	}
	if w.err == nil {
		_, w.err = w.out.Write(b)
	}
}

func (w *jsonStream) value(v reflect.Value, prefix string) {
	for v.Kind() == reflect.Pointer && !v.IsNil() {
		v = v.Elem()
	}
	switch {
	case v.Kind() == reflect.Struct && !ownJSON(v.Type()):
		w.object(v, prefix)
	case v.Kind() == reflect.Slice && v.Len() > jsonLong && !ownJSON(v.Type()):
		w.list(v, prefix)
	default:
		w.write(jsonValue(v, prefix))
	}
}

// ownJSON reports whether a type is printed in some other way than part by part.
func ownJSON(t reflect.Type) bool {
	p := reflect.PointerTo(t)
	if p.Implements(reflect.TypeFor[json.Marshaler]()) || p.Implements(reflect.TypeFor[interface{ MarshalText() ([]byte, error) }]()) {
		return true
	}
	for i := 0; t.Kind() == reflect.Struct && i < t.NumField(); i++ {
		if _, options, _ := strings.Cut(t.Field(i).Tag.Get("json"), ","); t.Field(i).Anonymous || options != "" && options != "omitempty" {
			return true
		}
	}
	return false
}

func (w *jsonStream) object(v reflect.Value, prefix string) {
	before := "{\n"
	for f, field := range v.Fields() {
		name, options, _ := strings.Cut(f.Tag.Get("json"), ",")
		empty := field.IsZero() && field.Kind() != reflect.Struct || field.Kind() == reflect.Slice && field.Len() == 0
		if !f.IsExported() || name == "-" || options == "omitempty" && empty {
			continue
		}
		key, err := json.Marshal(name)
		w.write([]byte(before+prefix+jsonIndent+string(key)+": "), err)
		w.value(field, prefix+jsonIndent)
		before = ",\n"
	}
	w.write([]byte("\n"+prefix+"}"), nil)
}

func (w *jsonStream) list(v reflect.Value, prefix string) {
	type part struct {
		text []byte
		err  error
	}
	parts := make([]part, runtime.GOMAXPROCS(0))
	before := "[\n"
	for from := 0; from < v.Len() && w.err == nil; {
		var workers sync.WaitGroup
		n := 0
		for ; n < len(parts) && from < v.Len(); n++ {
			some := v.Slice(from, min(from+jsonLong, v.Len()))
			from += some.Len()
			p := &parts[n]
			workers.Go(func() {
				text, err := jsonValue(some, prefix)
				*p = part{bytes.TrimSuffix(bytes.TrimPrefix(text, []byte("[\n")), []byte("\n"+prefix+"]")), err}
			})
		}
		workers.Wait()
		for _, p := range parts[:n] {
			w.write([]byte(before), nil)
			w.write(p.text, p.err)
			before = ",\n"
		}
	}
	w.write([]byte("\n"+prefix+"]"), nil)
}

// jsonValue is a value as it stands behind its key.
func jsonValue(v reflect.Value, prefix string) ([]byte, error) {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetIndent(prefix, jsonIndent)
	enc.SetEscapeHTML(false)
	err := enc.Encode(v.Interface())
	return bytes.TrimSuffix(b.Bytes(), []byte("\n")), err
}
