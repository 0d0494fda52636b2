package store

import "context"

// found makes the places every shop has. It changes nothing in a store that has them.
func (s *Store) found(ctx context.Context) error {
	for _, p := range []Place{
		{Code: CodeSupplier, Name: "supplier", Kind: SupplierAt}, {Code: CodeScrap, Name: "scrap", Kind: ScrapAt},
		{Code: CodeUse, Name: "used up", Kind: UseAt}, {Code: CodeAdjust, Name: "adjust", Kind: AdjustAt},
		{Code: CodeRegrind, Name: "regrind", Kind: Regrind}, {Code: CodeInspection, Name: "inspection", Kind: Inspection},
		{Code: CodeLost, Name: "lost", Kind: Lost}, {Code: CodePartUsed, Name: "part-used inserts", Kind: Bin},
	} {
		if s.places.code(p.Code) != 0 {
			continue
		}
		if _, err := s.AddPlace(ctx, p); err != nil {
			return err
		}
	}
	return nil
}
