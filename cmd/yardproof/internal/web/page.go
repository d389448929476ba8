package web

import (
	"bytes"
	"compress/gzip"
	"embed"
	"io/fs"
	"mime"
	"net/http"
	"path"
	"strconv"
	"strings"
	"sync"
)

//go:embed page
var embedded embed.FS

// page is the files that a browser loads, by their path, compressed once, for the first who asks.
type page struct{ files map[string]file }

type file struct {
	kind  string
	plain []byte
	small func() []byte
}

func loadPage() *page {
	p := &page{files: map[string]file{}}
	p.add(embedded, "/")
	return p
}

// add loads the files of a directory "page", which are embedded, under a path.
func (p *page) add(files fs.FS, under string) {
	root, err := fs.Sub(files, "page")
	if err == nil {
		err = fs.WalkDir(root, ".", func(name string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() {
				return err
			}
			b, err := fs.ReadFile(root, name)
			if err != nil {
				return err
			}
			at := under + name
			if name == "index.html" {
				at = under + "{$}"
			}
			p.files[at] = file{kind: kind(name), plain: b, small: sync.OnceValue(func() []byte { return squeeze(b) })}
			return nil
		})
	}
	if err != nil {
		panic(err) // embedded files are there
	}
}

// kind does not ask the machine, whose table may lack a type or have it wrong.
func kind(name string) string {
	switch path.Ext(name) {
	case ".html":
		return "text/html; charset=utf-8"
	case ".css":
		return "text/css; charset=utf-8"
	case ".js":
		return "text/javascript; charset=utf-8"
	case ".svg":
		return "image/svg+xml"
	}
	return mime.TypeByExtension(path.Ext(name))
}

func squeeze(b []byte) []byte {
	var out bytes.Buffer
	z, err := gzip.NewWriterLevel(&out, gzip.BestCompression)
	if err == nil {
		_, err = z.Write(b)
	}
	if err == nil {
		err = z.Close()
	}
	if err != nil {
		panic(err) // a buffer takes everything
	}
	return out.Bytes()
}

func (p *page) serve(w http.ResponseWriter, r *http.Request) error {
	at := r.URL.Path
	if strings.HasSuffix(at, "/") {
		at += "{$}"
	}
	return send(w, r, p.files[at])
}

// send sends a file, compressed to who takes that.
func send(w http.ResponseWriter, r *http.Request, f file) error {
	body := f.plain
	h := w.Header()
	h.Set("Content-Type", f.kind)
	h.Set("Vary", "Accept-Encoding")
	if strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") {
		h.Set("Content-Encoding", "gzip")
		body = f.small()
	}
	h.Set("Content-Length", strconv.Itoa(len(body)))
	w.WriteHeader(http.StatusOK)
	_, err := w.Write(body)
	return gone(err)
}
