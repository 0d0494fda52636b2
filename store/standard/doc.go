// Package standard reads what is printed on the box and stamped on the bar: designations
// of inserts (ISO 1832, ANSI B212.4), boring bars (ISO 6261, ISO 5609) and square-shank
// holders (ISO 5608), coolant threads, turret seats, sizes with their unit, fits, and the
// check character of our own tags (ISO/IEC 7064).
//
// It is pure: text in, values out. No reader guesses. What cannot be proven is refused
// with a *[Refusal] that names the character, the reason and what was likely meant; what
// a name does not say (a special length, the thickness of a seat behind a bar name) stays
// unknown and is asked for. Two spellings of one thing read as equal values: CNMG 432 and
// "cnmg 12 04 08" are one insert, 1-1/4" and 31.75 mm are one diameter that remembers
// its unit.
//
// All lengths are millimetres and all angles degrees unless a name says otherwise. The
// capital names (IC, RE, KAPR, DCONMS) are symbols of ISO 13399; [SymbolOf] explains them.
package standard
