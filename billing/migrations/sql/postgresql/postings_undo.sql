DROP TRIGGER posting_is_guarded ON billing_posting;
DROP FUNCTION billing_guard_posting();
