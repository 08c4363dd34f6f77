//! Words without a domain: identities, units, days, moments, bounded text.
