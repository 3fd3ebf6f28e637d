DROP TRIGGER membership_is_guarded ON billing_membership;
DROP FUNCTION billing_guard_membership();
