package web

import (
	"image/jpeg"
	"net/http"
	"slices"
	"strconv"

	"yardproof/cmd/yardproof/internal/film"
)

// kept is where each pixel was seen by the films on record.
func (s *Server) kept() (*film.Result, error) {
	r, err := film.Kept(s.cfg.State)
	switch {
	case err != nil:
		return nil, problemf(http.StatusConflict, "%s.", sentence(err))
	case r == nil:
		return nil, problemf(http.StatusNotFound, "No film is on record yet. Film the yard, and record it.")
	}
	return r, nil
}

// getPlaces tells where the pixels of a string were seen, and in which of the films.
func (s *Server) getPlaces(w http.ResponseWriter, r *http.Request) error {
	kept, err := s.kept()
	if err != nil {
		return err
	}
	name := r.URL.Query().Get("string")
	pixels := slices.DeleteFunc(kept.Pixels, func(p film.Pixel) bool { return p.String != name })
	return writeJSON(w, http.StatusOK, struct {
		Sides  []filmedSide `json:"sides"`
		Pixels []film.Pixel `json:"pixels"`
	}{sidesOf(kept), pixels})
}

// getPlacesPicture draws where the pixels of a string were seen.
func (s *Server) getPlacesPicture(w http.ResponseWriter, r *http.Request) error {
	kept, err := s.kept()
	if err != nil {
		return err
	}
	return writeStill(w, r, kept, r.URL.Query().Get("string"))
}

// writeStill sends the picture of a side, which the request's path names from 0.
func writeStill(w http.ResponseWriter, r *http.Request, res *film.Result, name string) error {
	side, err := strconv.Atoi(r.PathValue("side"))
	if err != nil || side < 0 || side >= len(res.Films) {
		return problemf(http.StatusNotFound, "There is no picture %q: sides count from 0.", r.PathValue("side"))
	}
	m, err := res.Still(side, name)
	if err != nil {
		return problemf(http.StatusConflict, "%s.", sentence(err))
	}
	w.Header().Set("Content-Type", "image/jpeg")
	return gone(jpeg.Encode(w, m, &jpeg.Options{Quality: 85}))
}
