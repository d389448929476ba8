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
	w := jsonStream{out: bufio.NewWriter(out), parts: make([]jsonPart, runtime.GOMAXPROCS(0))}
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
	out   *bufio.Writer
	err   error
	parts []jsonPart // of a list, a core each
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
		p := &w.parts[0]
		p.encode(v, prefix)
		w.write(p.text, p.err)
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
	before := "[\n"
	for from := 0; from < v.Len() && w.err == nil; {
		var workers sync.WaitGroup
		n := 0
		for ; n < len(w.parts) && from < v.Len(); n++ {
			some := v.Slice(from, min(from+jsonLong, v.Len()))
			from += some.Len()
			p := &w.parts[n]
			workers.Go(func() {
				p.encode(some, prefix)
				p.text = bytes.TrimSuffix(bytes.TrimPrefix(p.text, []byte("[\n")), []byte("\n"+prefix+"]"))
			})
		}
		workers.Wait()
		for _, p := range w.parts[:n] {
			w.write([]byte(before), nil)
			w.write(p.text, p.err)
			before = ",\n"
		}
	}
	w.write([]byte("\n"+prefix+"]"), nil)
}

// A jsonPart is a value as it stands behind its key. Its memory is used again, or the collector
// would let garbage of hundreds of megabytes grow.
type jsonPart struct {
	memory bytes.Buffer
	enc    *json.Encoder
	text   []byte // until the next
	err    error
}

func (p *jsonPart) encode(v reflect.Value, prefix string) {
	if p.enc == nil {
		p.enc = json.NewEncoder(&p.memory)
		p.enc.SetEscapeHTML(false)
	}
	p.enc.SetIndent(prefix, jsonIndent)
	p.memory.Reset()
	p.err = p.enc.Encode(v.Interface())
	p.text = bytes.TrimSuffix(p.memory.Bytes(), []byte("\n"))
}
