// Meeting lights: after how many seconds two lights of different periods flash together again.
module meeting_lights (
    input  [7:0] inputs,
    output [7:0] outputs
);
    wire       step    = inputs[7];
    wire       restart = inputs[6];
    wire [3:0] first   = {1'b0, inputs[2:0]} + 4'd1;  // periods from 1 to 8
    wire [3:0] second  = {1'b0, inputs[5:3]} + 4'd1;

    // Euclid takes the smaller of two numbers from the larger until both are the same: their greatest common divisor.
    // What is added to u and v meanwhile (Dijkstra) keeps x * v + y * u at twice the product of the periods, so that
    // at the end half of u + v is the least common multiple.
    reg [3:0] x, y;
    reg [6:0] u, v;
    wire [6:0] twice = u + v;

    reg [5:0] meeting;
    reg       apart;  // the periods have no common divisor
    always @(posedge step)
        if (restart || x == y) begin
            meeting <= restart ? 6'd0 : twice[6:1];
            apart   <= ~restart & (x == 4'd1);
            x <= first;
            y <= second;
            u <= {3'd0, first};
            v <= {3'd0, second};
        end else if (x > y) begin
            x <= x - y;
            u <= u + v;
        end else begin
            y <= y - x;
            v <= v + u;
        end

    assign outputs = {1'b0, apart, meeting};
endmodule
