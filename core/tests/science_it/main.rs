//! Tests of `core::science` from outside: published numbers, properties, limits, the registry.
//! Every published number names its source beside it, or says that there is none.

#[cfg(test)]
mod edges_field;
#[cfg(test)]
mod edges_load;
#[cfg(test)]
mod edges_noise;
#[cfg(test)]
mod edges_strength;
#[cfg(test)]
mod growth_and_checkin;
#[cfg(test)]
mod help;
#[cfg(test)]
mod jumps_and_load;
#[cfg(test)]
mod limits;
#[cfg(test)]
mod properties;
#[cfg(test)]
mod questions;
#[cfg(test)]
mod registry;
#[cfg(test)]
mod reliability;
#[cfg(test)]
mod sprint;
#[cfg(test)]
mod strength;
#[cfg(test)]
mod vectors;
