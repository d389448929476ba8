package report

import (
	"bytes"
	"encoding/base64"
	"html/template"
	"image/jpeg"
	"path/filepath"

	"yardproof/cmd/yardproof/internal/film"
	"yardproof/cmd/yardproof/internal/record"
)

// Places is a film's picture with every pixel marked.
type Places struct {
	Called string // the film
	Kept   string // the file that says so
	JPEG   []byte
}

// Source is the picture in a page.
func (p Places) Source() template.URL {
	return template.URL("data:image/jpeg;base64," + base64.StdEncoding.EncodeToString(p.JPEG))
}

// placesOf draws where films on record saw pixels.
func placesOf(dir string) (all []Places, err error) {
	kept, err := film.Kept(dir)
	if err != nil || kept == nil {
		return nil, err
	}
	for i, f := range kept.Films {
		m, err := kept.Still(i, "")
		if err != nil {
			return nil, err
		}
		var b bytes.Buffer
		if err := jpeg.Encode(&b, m, &jpeg.Options{Quality: 85}); err != nil {
			return nil, err
		}
		all = append(all, Places{Called: record.Shown(f.Called), Kept: filepath.Join(dir, film.KeptName), JPEG: b.Bytes()})
	}
	return all, nil
}
