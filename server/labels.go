package server

import (
	"context"
	"net/http"
	"strings"

	"github.com/labstack/echo/v4"

	"brasspeg/labels"
	"brasspeg/store"
)

// labelSVG is the tag of a piece as a picture: GET /pieces/:tag/label.svg.
func (s *Server) labelSVG(c echo.Context) error {
	l, err := s.labelOf(c.Request().Context(), c.Param("tag"))
	if err != nil {
		return err
	}
	svg, err := labels.SVG(l)
	if err != nil {
		return &refusal{class: errInvalid, detail: err.Error()}
	}
	return c.Blob(http.StatusOK, "image/svg+xml", svg)
}

func (s *Server) labelOf(ctx context.Context, tag string) (labels.Label, error) {
	st, err := s.standing(ctx, tag)
	if err != nil {
		return labels.Label{}, err
	}
	kind := labels.Piece
	if st.Kind == store.KindLot {
		kind = labels.Lot
	}
	title := strings.TrimSpace(st.PartName)
	if title == "" {
		title = st.PartCode
	}
	return labels.Label{Tag: st.Tag, Kind: kind, Head: st.PartKind, Title: title, Note: st.PartCode, Printed: string(s.store.Today())}, nil
}

// labelPDF is the tag as a page of exactly its size: GET /pieces/:tag/label.pdf.
func (s *Server) labelPDF(c echo.Context) error {
	l, err := s.labelOf(c.Request().Context(), c.Param("tag"))
	if err != nil {
		return err
	}
	pdf, err := labels.PDF([]labels.Label{l}, labels.Single(labels.Standing, 0))
	if err != nil {
		return &refusal{class: errInvalid, detail: err.Error()}
	}
	return c.Blob(http.StatusOK, "application/pdf", pdf)
}
