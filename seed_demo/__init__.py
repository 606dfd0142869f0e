"""An invented fleet with a seeded random history.

Nothing in it is real: no brands, people, places or measurements. Its operator is called Invented Demo Haulage.

The process, for vehicle i of class c on day d (whole days in UTC, all draws from one seed):

    km_i(d) = b_i · r_i(d) · S_c(d) · W_c(weekday) · A_i(week) · P_i(week) · G_i(d)

    b_i     ln b_i ~ N(ln m_c, σ_c²)                        what the vehicle usually does, km a day
            (m_c itself for the vehicles that are planned to be due this week, which do not park lately either)
    r_i     1, and from the change of route on e^{±(0.35 + |N(0, 0.25²)|)}, for about one vehicle in six
    S_c     1 + a_c cos 2π(day of year − peak_c)/365.25     seasonal use
    W_c     seven weights with mean 1                       weekday pattern
    A_i     e^{x − s_c²/2}, x(w) = 0.85 x(w−1) + s_c √(1 − 0.85²) N(0, 1)      busy and quiet weeks
    P_i     0 in parked weeks: begun with probability p_c a week, kept up with 0.55
    G_i     gamma distributed, mean 1, coefficient of variation v_c            one day to the next

    hours_i(d) = min(km_i(d) / speed_c, 18)                 only classes with an hour meter
    odometer   = sum of km over the days, linear within a day; a replaced instrument subtracts what was lost

Readings follow at gamma-distributed gaps (shape 3, mean of the class), rounded as their source rounds. Some
are mistyped: a digit lost or added, another vehicle's number, kilometres for miles and the reverse, a
rollback, a wrong year, one sent twice; the newest of these wait for a decision.

Fluid ages by the linear law with the duty D and the limits of its kind, and a service mixes old and new:

    u grows by D·Δkm/L_km + Δt/L_t + Δh/L_h;   a round: u ← u (V − drained)/(V − drained + filled)

The last service of each compartment lies where the larger of schedule used and u/(1 − reserve) makes it due
at the chosen moment: some this week, the others spread over the future. Earlier services are found the same
way, until one lies before the readings. Every parameter is invented for this demonstration.
"""
