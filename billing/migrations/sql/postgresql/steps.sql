-- The steps of a posted cost are as final as the cost, by the function in shares.sql.

CREATE TRIGGER step_is_guarded BEFORE INSERT OR UPDATE OR DELETE ON billing_chargestep
FOR EACH ROW EXECUTE FUNCTION billing_guard_part_of_cost('step');
