package server

import (
	"net/http"

	"github.com/labstack/echo/v4"

	"brasspeg/server/access"
)

// peoplePage lists who works with the crib: GET /people.
func (s *Server) peoplePage(c echo.Context) error {
	people, err := s.store.People(c.Request().Context())
	if err != nil {
		return err
	}
	var v peoplePage
	if who, _ := actor(c); access.Of(who.role, access.MakeBadges) != access.No {
		v.Badges = "/labels/badges"
	}
	for _, p := range people {
		row := personRow{Login: p.Login, Name: p.Name, Role: string(p.Role), Phone: p.Phone}
		if may(c, access.KeepPeople) {
			row.Href = "/shop/people/" + pathOf(p.Login)
		}
		v.People = append(v.People, row)
	}
	return s.page(c, http.StatusOK, "people", "People", v)
}
