//! What must hold of the whole engine whatever the bank: properties over banks drawn by proptest, each with something
//! wrong of a plain size. The simulator makes the frames; what is changed is changed in the frames, count by count, so
//! that the engine alone answers for what comes out.

#[path = "whole_engine/cells.rs"]
mod cells;
#[path = "whole_engine/cut.rs"]
mod cut;
#[path = "whole_engine/drawn.rs"]
mod drawn;
#[path = "whole_engine/frames.rs"]
mod frames;
#[path = "whole_engine/parallel.rs"]
mod parallel;
#[path = "whole_engine/scale.rs"]
mod scale;
#[path = "whole_engine/sign.rs"]
mod sign;
#[path = "whole_engine/tiers.rs"]
mod tiers;
#[path = "whole_engine/told.rs"]
mod told;
